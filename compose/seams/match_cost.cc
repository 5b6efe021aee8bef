#include "compose/seams/match_cost.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <utility>

#include "base/catmull_rom.h"
#include "base/parallel.h"
#include "compose/seams/baseline_view.h"
#include "compose/seams/cost_kernels.h"

namespace seamwright {

namespace {

constexpr int kReach = 2;           // of the window, px
constexpr std::int16_t kClip = 26;  // of one difference, in kCostUnit
// What a task sweeps together, tiles of one row: all labels of as many pixels as stay in the second
// cache.
constexpr int kBandTiles = 16;
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
  tap.weight = catmull_rom(t);
  return tap;
}

class Sweep {
 public:
  Sweep(const BaselineStrip& reference, const BaselineStrip& other, const DepthLabels& labels,
        LabelWindows windows, CostVolume& volume)
      : reference_(reference),
        other_(other),
        labels_(labels),
        grid_(reference.strip.grid),
        volume_(volume) {
    volume_.width_px = grid_.width_px;
    volume_.height_px = grid_.height_px;
    volume_.closed = grid_.closed;
    volume_.windows = std::move(windows);
    volume_.cost.resize(volume_.windows.size());
    for (int label = 0; label < labels.count; ++label) {
      for (int y = 0; y < grid_.height_px; ++y) {
        const double eta = eta_seen_from(other_.offset_m, reference_.offset_m,
                                         eta_of_row(grid_, y + 0.5), label * labels.step_inverse_m);
        taps_.push_back(tap_at(row_of_eta(grid_, eta), grid_.height_px));
      }
    }
  }

  void run() {
    const int blocks = (volume_.windows.tiles_across() + kBandTiles - 1) / kBandTiles;
    parallel_for(0, volume_.windows.tiles_down() * blocks, [&](int task) {
      const int first = task % blocks * kBandTiles;
      sweep(task / blocks, first, std::min(first + kBandTiles, volume_.windows.tiles_across()));
    });
  }

 private:
  // Columns and rows of pixels.
  struct Block {
    int left, right, top, bottom;
    [[nodiscard]] std::size_t width() const { return static_cast<std::size_t>(right - left); }
  };
  // What a task works in.
  struct Room {
    std::vector<std::int16_t> differences;
    std::vector<std::int16_t> sum;
  };

  // Every label wherever neighbouring tiles try it.
  void sweep(int tile_row, int first_tile, int end_tile) {
    Room room;
    const auto tries = [&](int tile, int label) {
      return tile < end_tile && volume_.windows.of_tile(tile, tile_row).has(label);
    };
    for (int label = 0; label < labels_.count; ++label) {
      for (int tile = first_tile; tile < end_tile; ++tile) {
        const int begin = tile;
        while (tries(tile, label)) ++tile;
        if (tile > begin) sweep(label, block_of(tile_row, begin, tile), room);
      }
    }
  }

  [[nodiscard]] Block block_of(int tile_row, int first_tile, int end_tile) const {
    constexpr int kTile = LabelWindows::kTile_px;
    return {.left = first_tile * kTile,
            .right = std::min(end_tile * kTile, grid_.width_px),
            .top = tile_row * kTile,
            .bottom = std::min((tile_row + 1) * kTile, grid_.height_px)};
  }

  void sweep(int label, const Block& block, Room& room) {
    const std::size_t stride = block.width() + 2 * kReach;
    room.differences.resize(static_cast<std::size_t>(block.bottom - block.top + 2 * kReach) *
                            stride);
    room.sum.resize(block.width());
    const auto row_of = [&](int y) {
      return room.differences.data() + static_cast<std::size_t>(y - block.top + kReach) * stride;
    };
    for (int y = block.top - kReach; y < block.bottom + kReach; ++y) {
      differ(y, label, block, row_of(y));
    }
    for (int y = block.top; y < block.bottom; ++y) {
      const std::int16_t* centre = row_of(y) + kReach;
      window_row(centre, static_cast<std::ptrdiff_t>(stride), kClip, room.sum.size(),
                 room.sum.data());
      store(centre, room.sum.data(), block, y, label);
    }
  }

  // Reference minus the other strip as it would look if all lay at `label`, a block's part of a row
  // with kReach columns more at both ends. Beyond an open end nothing is seen.
  void differ(int y, int label, const Block& block, std::int16_t* to) const {
    const int begin = block.left - kReach;
    const int end = block.right + kReach;
    std::fill_n(to, end - begin, kUnseenDifference);
    if (y < 0 || y >= grid_.height_px) return;
    const RowTap& tap = taps_[static_cast<std::size_t>(label * grid_.height_px + y)];
    if (!tap.inside) return;
    const int inner_begin = std::max(begin, 0);
    const int inner_end = std::min(end, grid_.width_px);
    differ_columns(y, tap, inner_begin, inner_end, to + (inner_begin - begin));
    if (!grid_.closed) return;
    for (int x = begin; x < 0; ++x) {
      const int around = (x + grid_.width_px) % grid_.width_px;
      differ_columns(y, tap, around, around + 1, to + (x - begin));
    }
    for (int x = grid_.width_px; x < end; ++x) {
      const int around = x % grid_.width_px;
      differ_columns(y, tap, around, around + 1, to + (x - begin));
    }
  }

  void differ_columns(int y, const RowTap& tap, int begin, int end, std::int16_t* to) const {
    PartnerRows partner{.value = {}, .seen = {}, .weight = tap.weight};
    for (int i = 0; i < 4; ++i) {
      const auto at = static_cast<std::size_t>(i);
      partner.value[at] = other_.strip.normalised.row<float>(tap.first + i).data() + begin;
      partner.seen[at] = other_.strip.valid.row<std::uint8_t>(tap.first + i).data() + begin;
    }
    difference_row(reference_.strip.normalised.row<float>(y).data() + begin,
                   reference_.strip.valid.row<std::uint8_t>(y).data() + begin, partner, kCostUnit,
                   static_cast<std::size_t>(end - begin), to);
  }

  // Clipped differences to the window's other pixels. Unseen neighbours clip, too: a window that
  // hangs over the border is a little worse, whatever the label.
  void store(const std::int16_t* centre, const std::int16_t* sum, const Block& block, int y,
             int label) {
    constexpr int kDivisor = (kNeighbours * kClip + kMostCost - 1) / kMostCost;
    for (int left = block.left; left < block.right; left += LabelWindows::kTile_px) {
      const LabelRun& run = volume_.windows.at(left, y);
      std::uint8_t* to = volume_.cost.data() + volume_.windows.index(left, y) + (label - run.first);
      const int right = std::min(left + LabelWindows::kTile_px, block.right);
      for (int x = left; x < right; ++x, to += run.count) {
        const int i = x - block.left;
        const int cost = centre[i] == kUnseenDifference ? kUnseenCost : sum[i] / kDivisor;
        *to = static_cast<std::uint8_t>(cost);
      }
    }
  }

  const BaselineStrip& reference_;
  const BaselineStrip& other_;
  const DepthLabels& labels_;
  const RibbonGrid& grid_;
  CostVolume& volume_;
  std::vector<RowTap> taps_;  // rows of one label side by side
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
  const int wanted = static_cast<int>(std::ceil(most_px / step_px)) + 1;
  const int steps = (wanted + kLabelsTogether - 1) / kLabelsTogether * kLabelsTogether - 1;
  return {.count = steps + 1,
          .step_inverse_m = nearest_inverse / steps,
          .px_per_label = most_px / steps};
}

void match_cost(const BaselineStrip& reference, const BaselineStrip& other,
                const DepthLabels& labels, LabelWindows windows, CostVolume& volume) {
  Sweep(reference, other, labels, std::move(windows), volume).run();
}

}  // namespace seamwright
