#include "seams/match_cost.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>

#include "base/parallel.h"
#include "seams/baseline_view.h"

namespace seamwright {

namespace {

constexpr int kReach = 2;           // of the window, px
constexpr std::int16_t kClip = 26;  // of one difference, in kCostUnit
constexpr int kBand = 16;           // rows a task sweeps together
constexpr std::int16_t kUnseen = std::numeric_limits<std::int16_t>::min() / 2;
constexpr int kNeighbours = (2 * kReach + 1) * (2 * kReach + 1) - 1;

// Where a row of the reference finds its partner: four rows of the other strip and their weights
// (Catmull and Rom 1974).
struct RowTap {
  int first = 0;
  std::array<float, 4> weight{};
  bool inside = false;
};

RowTap tap_at(double y_px, int height_px) {
  const double at = y_px - 0.5;
  const double whole = std::floor(at);
  const auto t = static_cast<float>(at - whole);
  RowTap tap;
  tap.first = static_cast<int>(whole) - 1;
  tap.inside = tap.first >= 0 && tap.first + 3 < height_px;
  const float t2 = t * t;
  const float t3 = t2 * t;
  tap.weight = {0.5F * (-t3 + 2 * t2 - t), 0.5F * (3 * t3 - 5 * t2 + 2),
                0.5F * (-3 * t3 + 4 * t2 + t), 0.5F * (t3 - t2)};
  return tap;
}

class Sweep {
 public:
  Sweep(const StripView& reference, const StripView& other, const DepthLabels& labels)
      : reference_(reference), other_(other), labels_(labels), grid_(reference.strip.grid) {
    volume_.width_px = grid_.width_px;
    volume_.height_px = grid_.height_px;
    volume_.labels = labels.count;
    volume_.closed = grid_.closed;
    volume_.cost.resize(volume_.index(0, grid_.height_px));
  }

  CostVolume run() {
    parallel_for(0, (grid_.height_px + kBand - 1) / kBand, [&](int band) {
      const int begin = band * kBand;
      sweep_rows(begin, std::min(begin + kBand, grid_.height_px));
    });
    return std::move(volume_);
  }

 private:
  [[nodiscard]] std::size_t padded_width() const {
    return static_cast<std::size_t>(grid_.width_px + 2 * kReach);
  }

  void sweep_rows(int begin, int end) {
    const std::size_t stride = padded_width();
    std::vector<std::int16_t> difference(static_cast<std::size_t>(end - begin + 2 * kReach) *
                                         stride);
    std::vector<std::int16_t> sum(static_cast<std::size_t>(grid_.width_px));
    for (int label = 0; label < labels_.count; ++label) {
      for (int y = begin - kReach; y < end + kReach; ++y) {
        differ(y, label, difference.data() + static_cast<std::size_t>(y - begin + kReach) * stride);
      }
      for (int y = begin; y < end; ++y) {
        const std::int16_t* centre =
            difference.data() + static_cast<std::size_t>(y - begin + kReach) * stride + kReach;
        add_up(centre, sum);
        store(centre, sum, y, label);
      }
    }
  }

  // Reference minus the other strip as it would look if all lay at `label`, one row with kReach
  // columns more at both ends; kUnseen where either lens does not see.
  void differ(int y, int label, std::int16_t* to) const {
    const std::size_t width = static_cast<std::size_t>(grid_.width_px);
    std::fill_n(to, padded_width(), kUnseen);
    if (y < 0 || y >= grid_.height_px) return;
    const double eta = eta_seen_from(other_.offset_m, reference_.offset_m,
                                     eta_of_row(grid_, y + 0.5), label * labels_.step_inverse_m);
    const RowTap tap = tap_at(row_of_eta(grid_, eta), grid_.height_px);
    if (!tap.inside) return;
    std::array<const float*, 4> rows{};
    std::array<const std::uint8_t*, 4> seen{};
    for (int i = 0; i < 4; ++i) {
      rows[static_cast<std::size_t>(i)] = other_.strip.normalised.row<float>(tap.first + i).data();
      seen[static_cast<std::size_t>(i)] =
          other_.strip.valid.row<std::uint8_t>(tap.first + i).data();
    }
    const float* here = reference_.strip.normalised.row<float>(y).data();
    const std::uint8_t* here_seen = reference_.strip.valid.row<std::uint8_t>(y).data();
    for (std::size_t x = 0; x < width; ++x) {
      const float partner = tap.weight[0] * rows[0][x] + tap.weight[1] * rows[1][x] +
                            tap.weight[2] * rows[2][x] + tap.weight[3] * rows[3][x];
      const int all = here_seen[x] & seen[0][x] & seen[1][x] & seen[2][x] & seen[3][x];
      const auto value = static_cast<std::int16_t>(kCostUnit * (here[x] - partner));
      to[x + kReach] = all != 0 ? value : kUnseen;
    }
    if (!grid_.closed) return;
    std::copy_n(to + width, kReach, to);
    std::copy_n(to + kReach, kReach, to + kReach + width);
  }

  // Clipped differences to the window's other pixels. Unseen neighbours clip, too: a window that
  // hangs over the border is a little worse, whatever the label.
  void add_up(const std::int16_t* centre, std::vector<std::int16_t>& sum) const {
    std::fill(sum.begin(), sum.end(), std::int16_t{0});
    const auto stride = static_cast<std::ptrdiff_t>(padded_width());
    for (int dy = -kReach; dy <= kReach; ++dy) {
      for (int dx = -kReach; dx <= kReach; ++dx) {
        if (dx == 0 && dy == 0) continue;
        const std::int16_t* there = centre + dy * stride + dx;
        std::int16_t* to = sum.data();
        for (std::size_t x = 0; x < sum.size(); ++x) {
          const auto d = static_cast<std::int16_t>(centre[x] - there[x]);
          const auto size = std::max(d, static_cast<std::int16_t>(-d));
          to[x] = static_cast<std::int16_t>(to[x] + std::min(size, kClip));
        }
      }
    }
  }

  void store(const std::int16_t* centre, const std::vector<std::int16_t>& sum, int y, int label) {
    constexpr int kDivisor = (kNeighbours * kClip + kMostCost - 1) / kMostCost;
    std::uint8_t* to = volume_.cost.data() + volume_.index(0, y) + label;
    for (std::size_t x = 0; x < sum.size(); ++x) {
      const int cost = centre[x] == kUnseen ? kUnseenCost : sum[x] / kDivisor;
      to[x * static_cast<std::size_t>(labels_.count)] = static_cast<std::uint8_t>(cost);
    }
  }

  const StripView& reference_;
  const StripView& other_;
  const DepthLabels& labels_;
  const RibbonGrid& grid_;
  CostVolume volume_;
};

}  // namespace

DepthLabels depth_labels(const RibbonGrid& grid, double half_baseline_m, double nearest_m,
                         double step_px) {
  const double nearest_inverse = 1 / nearest_m;
  double most_px = 0;
  for (int y = 0; y <= grid.height_px; ++y) {
    const double eta = eta_of_row(grid, y);
    const double shift = eta_seen_from(half_baseline_m, 0, eta, nearest_inverse) -
                         eta_seen_from(-half_baseline_m, 0, eta, nearest_inverse);
    most_px = std::max(most_px, shift * grid.px_per_rad);
  }
  const int steps = std::max(1, static_cast<int>(std::ceil(most_px / step_px)));
  return {.count = steps + 1,
          .step_inverse_m = nearest_inverse / steps,
          .px_per_label = most_px / steps};
}

CostVolume match_cost(const StripView& reference, const StripView& other,
                      const DepthLabels& labels) {
  return Sweep(reference, other, labels).run();
}

}  // namespace seamwright
