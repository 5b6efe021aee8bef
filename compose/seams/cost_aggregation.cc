#include "compose/seams/cost_aggregation.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>

#include "base/parallel.h"
#include "compose/seams/cost_kernels.h"

namespace seamwright {

namespace {

// A path along a row of a closed ribbon starts this far ahead, on the other side of the seam; it
// has forgotten its beginning when it gets there.
constexpr int kRunIn_px = 256;
constexpr int kColumns = 128;  // paths that a task follows side by side
constexpr int kRows = 8;       // the same, along rows
constexpr std::int16_t kNoCost = std::numeric_limits<std::int16_t>::max() / 2;

// Where a pixel lies.
struct PathPixel {
  int x = 0;
  int y = 0;
};

// Paths that take their steps together, each with the costs of its best ways to the labels that its
// last pixel tries. All other labels, and one beyond both ends, cost more than any way.
class PathBundle {
 public:
  PathBundle(std::size_t count, int labels) : steps_(count), start_(stride(labels), 0) {
    costs_.assign(2 * count * stride(labels), kNoCost);
    for (std::size_t i = 0; i < count; ++i) {
      std::int16_t* before = costs_.data() + 2 * i * stride(labels) + 1;
      paths_.push_back({.before = before, .now = before + stride(labels)});
    }
  }

  // To the pixel that path i enters next, from where all labels cost nothing if it begins there.
  void enter(std::size_t i, bool begins, const LabelRun& run, const std::uint8_t* cost,
             std::int16_t large_step, std::int16_t* sum) {
    Path& path = paths_[i];
    std::swap(path.before, path.now);
    std::swap(path.run_before, path.run_now);
    if (run != path.run_now) {
      std::fill_n(path.now + path.run_now.first, path.run_now.count, kNoCost);
      path.run_now = run;
    }
    steps_[i] = {.before = (begins ? start_.data() + 1 : path.before) + run.first,
                 .base = begins ? std::int16_t{0} : path.least,
                 .large_step = large_step,
                 .labels = run.count,
                 .cost = cost,
                 .now = path.now + run.first,
                 .sum = sum,
                 .least = 0};
  }

  void step(std::int16_t small_step) {
    path_steps(steps_, small_step);
    for (std::size_t i = 0; i < paths_.size(); ++i) paths_[i].least = steps_[i].least;
  }

 private:
  struct Path {
    std::int16_t* before;  // of label 0
    std::int16_t* now;
    LabelRun run_before = {};
    LabelRun run_now = {};
    std::int16_t least = 0;
  };

  static std::size_t stride(int labels) { return static_cast<std::size_t>(labels) + 2; }

  std::vector<PathStep> steps_;
  std::vector<std::int16_t> start_;  // costs of a path that has not begun
  std::vector<std::int16_t> costs_;
  std::vector<Path> paths_;
};

// What a jump between labels costs between a pixel and its neighbour to one side: less where the
// picture itself has an edge, since depth likes to change there.
class JumpCosts {
 public:
  // The neighbour of (x, y) is (x + dx, y + dy), dx around the ring.
  JumpCosts(const Image& normalised, const Smoothness& smoothness, int dx, int dy)
      : width_(normalised.width()),
        cost_(static_cast<std::size_t>(width_) * static_cast<std::size_t>(normalised.height())) {
    const auto most = static_cast<float>(smoothness.large_step);
    const auto least = static_cast<float>(smoothness.small_step + 1);
    const float unit = smoothness.edge_unit;
    parallel_for(0, normalised.height() - dy, [&](int y) {
      const float* here = normalised.row<float>(y).data();
      const float* there = normalised.row<float>(y + dy).data();
      std::int16_t* to = cost_.data() + at(0, y);
      const auto cost = [&](int x, int other) {
        const float eased = most / (1 + std::abs(here[x] - there[other]) / unit);
        return static_cast<std::int16_t>(static_cast<int>(std::max(eased, least)));
      };
      const int begin = std::max(0, -dx);
      const int end = width_ - std::max(0, dx);
      for (int x = begin; x < end; ++x) to[x] = cost(x, x + dx);
      for (int x = 0; x < begin; ++x) to[x] = cost(x, x + dx + width_);
      for (int x = end; x < width_; ++x) to[x] = cost(x, x + dx - width_);
    });
  }

  [[nodiscard]] std::int16_t operator()(const PathPixel& pixel) const {
    return cost_[at(pixel.x, pixel.y)];
  }

 private:
  [[nodiscard]] std::size_t at(int x, int y) const {
    return static_cast<std::size_t>(y) * static_cast<std::size_t>(width_) +
           static_cast<std::size_t>(x);
  }

  int width_;
  std::vector<std::int16_t> cost_;
};

class Aggregation {
 public:
  Aggregation(const CostVolume& volume, const Strip& reference, const Smoothness& smoothness,
              std::vector<std::int16_t>& sums)
      : volume_(volume), reference_(reference), smoothness_(smoothness), sums_(sums) {
    sums_.resize(volume.cost.size());
  }

  void run() {
    const int width = volume_.width_px;
    const int height = volume_.height_px;
    {
      const JumpCosts jumps(reference_.normalised, smoothness_, 1, 0);
      parallel_for(0, (height + kRows - 1) / kRows, [&](int chunk) {
        const int begin = chunk * kRows;
        const int end = std::min(begin + kRows, height);
        std::fill(sums_.data() + volume_.windows.row_begin(begin),
                  sums_.data() + volume_.windows.row_begin(end), std::int16_t{0});
        follow_rows(begin, end, 1, jumps);
        follow_rows(begin, end, -1, jumps);
      });
    }
    for (const int dx : {0, 1, -1}) {
      const JumpCosts jumps(reference_.normalised, smoothness_, dx, 1);
      for (const int dy : {1, -1}) {
        parallel_for(0, (width + kColumns - 1) / kColumns, [&](int chunk) {
          const int begin = chunk * kColumns;
          follow_columns(begin, std::min(begin + kColumns, width), dy * dx, dy, jumps);
        });
      }
    }
  }

 private:
  [[nodiscard]] int wrapped(int x) const {
    const int rest = x % volume_.width_px;
    return rest < 0 ? rest + volume_.width_px : rest;
  }

  // A bundle's path i goes on to a pixel; `jump` is where the jump from the pixel before stands.
  void enter(PathBundle& bundle, int i, bool begins, const PathPixel& pixel, std::int16_t jump,
             bool counts) const {
    const std::size_t at = volume_.windows.index(pixel.x, pixel.y);
    bundle.enter(static_cast<std::size_t>(i), begins, volume_.windows.at(pixel.x, pixel.y),
                 volume_.cost.data() + at, jump, counts ? sums_.data() + at : nullptr);
  }

  void follow_rows(int begin, int end, int dx, const JumpCosts& jumps) const {
    const int width = volume_.width_px;
    const int run_in = volume_.closed ? std::min(kRunIn_px, width - 1) : 0;
    PathBundle bundle(static_cast<std::size_t>(end - begin), volume_.windows.labels());
    const int start = dx > 0 ? 0 : width - 1;
    for (int i = -run_in; i < width; ++i) {
      const int x = wrapped(start + i * dx);
      const int left = dx > 0 ? wrapped(x - 1) : x;  // of this pixel and the one before
      for (int y = begin; y < end; ++y) {
        enter(bundle, y - begin, i == -run_in, {x, y}, jumps({left, y}), i >= 0);
      }
      bundle.step(static_cast<std::int16_t>(smoothness_.small_step));
    }
  }

  // Paths that start in columns [begin, end) of the first row and move by dx a row. On an open
  // ribbon one that leaves at a side begins anew at the other.
  void follow_columns(int begin, int end, int dx, int dy, const JumpCosts& jumps) const {
    PathBundle bundle(static_cast<std::size_t>(end - begin), volume_.windows.labels());
    const int first = dy > 0 ? 0 : volume_.height_px - 1;
    for (int i = 0; i < volume_.height_px; ++i) {
      const int y = first + i * dy;
      for (int start = begin; start < end; ++start) {
        const int x = wrapped(start + i * dx);
        const int from_x = x - dx;
        const bool outside = from_x < 0 || from_x >= volume_.width_px;
        const bool begins = i == 0 || (outside && !volume_.closed);
        const PathPixel upper = dy > 0 ? PathPixel{wrapped(from_x), y - 1} : PathPixel{x, y};
        enter(bundle, start - begin, begins, {x, y}, begins ? std::int16_t{0} : jumps(upper), true);
      }
      bundle.step(static_cast<std::int16_t>(smoothness_.small_step));
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
