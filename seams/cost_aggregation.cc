#include "seams/cost_aggregation.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>

#include "base/parallel.h"
#include "seams/cost_kernels.h"

namespace seamwright {

namespace {

// A path along a row of a closed ribbon starts this far ahead, on the other side of the seam; it
// has forgotten its beginning when it gets there.
constexpr int kRunIn_px = 256;
constexpr int kChunk = 128;  // paths a task follows side by side
constexpr std::int16_t kNoCost = std::numeric_limits<std::int16_t>::max() / 2;

// The costs of one path's best ways to the labels that its last pixel tries. All others, and one
// beyond both ends, cost more than any way.
class PathState {
 public:
  explicit PathState(int labels)
      : before_(static_cast<std::size_t>(labels) + 2, kNoCost), now_(before_) {}

  void begin(const LabelRun& run, const std::uint8_t* cost, std::int16_t* sum) {
    enter(run);
    std::int16_t* now = now_.data() + 1 + run.first;
    least_ = kNoCost;
    for (int k = 0; k < run.count; ++k) {
      now[k] = cost[k];
      least_ = std::min(least_, now[k]);
      if (sum != nullptr) sum[k] = static_cast<std::int16_t>(sum[k] + now[k]);
    }
  }

  void step(const LabelRun& run, const std::uint8_t* cost, std::int16_t small_step,
            std::int16_t large_step, std::int16_t* sum) {
    std::swap(before_, now_);
    std::swap(run_before_, run_now_);
    enter(run);
    least_ = path_step(before_.data() + 1 + run.first, cost, least_, small_step, large_step,
                       static_cast<std::size_t>(run.count), now_.data() + 1 + run.first, sum);
  }

 private:
  // Makes room for a pixel's costs.
  void enter(const LabelRun& run) {
    if (run != run_now_) {
      std::fill_n(now_.begin() + 1 + run_now_.first, run_now_.count, kNoCost);
      run_now_ = run;
    }
  }

  std::vector<std::int16_t> before_;
  std::vector<std::int16_t> now_;
  LabelRun run_before_;
  LabelRun run_now_;
  std::int16_t least_ = 0;
};

class Aggregation {
 public:
  Aggregation(const CostVolume& volume, const Strip& reference, const Smoothness& smoothness,
              std::vector<std::int16_t>& sums)
      : volume_(volume), reference_(reference), smoothness_(smoothness), sums_(sums) {
    sums_.resize(volume.cost.size());
  }

  void run() {
    parallel_for(0, volume_.height_px, [&](int y) {
      std::fill(sums_.data() + volume_.windows.row_begin(y),
                sums_.data() + volume_.windows.row_begin(y + 1), std::int16_t{0});
      follow_row(y, 1);
      follow_row(y, -1);
    });
    for (const int dy : {1, -1}) {
      for (const int dx : {0, 1, -1}) {
        parallel_for(0, (volume_.width_px + kChunk - 1) / kChunk, [&](int chunk) {
          const int begin = chunk * kChunk;
          follow_columns(begin, std::min(begin + kChunk, volume_.width_px), dx, dy);
        });
      }
    }
  }

 private:
  [[nodiscard]] int wrapped(int x) const {
    const int rest = x % volume_.width_px;
    return rest < 0 ? rest + volume_.width_px : rest;
  }

  // Less where the picture itself has an edge: depth likes to change there.
  [[nodiscard]] std::int16_t large_step(int x, int y, int from_x, int from_y) const {
    const float here = reference_.normalised.row<float>(y)[static_cast<std::size_t>(x)];
    const float there = reference_.normalised.row<float>(from_y)[static_cast<std::size_t>(from_x)];
    const float eased = static_cast<float>(smoothness_.large_step) /
                        (1 + std::abs(here - there) / smoothness_.edge_unit);
    return static_cast<std::int16_t>(std::max(static_cast<int>(eased), smoothness_.small_step + 1));
  }

  void follow_row(int y, int dx) {
    const int width = volume_.width_px;
    const int run_in = volume_.closed ? std::min(kRunIn_px, width - 1) : 0;
    PathState path(volume_.windows.labels());
    const int start = dx > 0 ? 0 : width - 1;
    for (int i = -run_in; i < width; ++i) {
      const int x = wrapped(start + i * dx);
      const LabelRun& run = volume_.windows.at(x, y);
      const std::size_t at = volume_.windows.index(x, y);
      std::int16_t* sum = i < 0 ? nullptr : sums_.data() + at;
      if (i == -run_in) {
        path.begin(run, volume_.cost.data() + at, sum);
      } else {
        path.step(run, volume_.cost.data() + at, static_cast<std::int16_t>(smoothness_.small_step),
                  large_step(x, y, wrapped(x - dx), y), sum);
      }
    }
  }

  // Paths that start in columns [begin, end) of the first row and move by dx a row. On an open
  // ribbon one that leaves at a side begins anew at the other.
  void follow_columns(int begin, int end, int dx, int dy) {
    std::vector<PathState> paths(static_cast<std::size_t>(end - begin),
                                 PathState(volume_.windows.labels()));
    const int first = dy > 0 ? 0 : volume_.height_px - 1;
    for (int i = 0; i < volume_.height_px; ++i) {
      const int y = first + i * dy;
      for (int start = begin; start < end; ++start) {
        const int x = wrapped(start + i * dx);
        const LabelRun& run = volume_.windows.at(x, y);
        const std::size_t at = volume_.windows.index(x, y);
        PathState& path = paths[static_cast<std::size_t>(start - begin)];
        const int from_x = x - dx;
        const bool entered = !volume_.closed && (from_x < 0 || from_x >= volume_.width_px);
        if (i == 0 || entered) {
          path.begin(run, volume_.cost.data() + at, sums_.data() + at);
        } else {
          path.step(run, volume_.cost.data() + at,
                    static_cast<std::int16_t>(smoothness_.small_step),
                    large_step(x, y, wrapped(from_x), y - dy), sums_.data() + at);
        }
      }
    }
  }

  const CostVolume& volume_;
  const Strip& reference_;
  const Smoothness& smoothness_;
  std::vector<std::int16_t>& sums_;
};

}  // namespace

void aggregate(const CostVolume& volume, const Strip& reference, const Smoothness& smoothness,
               std::vector<std::int16_t>& sums) {
  Aggregation(volume, reference, smoothness, sums).run();
}

}  // namespace seamwright
