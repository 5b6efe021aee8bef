#include "compose/render/pair_field.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

namespace seamwright {

namespace {

int tiles_along(int size_px, int tile_px) { return (size_px + tile_px - 1) / tile_px; }

}  // namespace

PairField::PairField(const PairSeam& seam, double panorama_px_per_rad)
    : seam_(seam), seen_by_(seam.warp.seen_by.row<std::uint8_t>(0).data()) {
  // Two pixels of the ribbon or of the panorama, whichever are larger: no stairs.
  constexpr double kFeather_px = 2;
  feather_px_ = static_cast<float>(kFeather_px *
                                   std::max(1.0, seam.warp.grid.px_per_rad / panorama_px_per_rad));
  sum_up_columns();
  sum_up_seen();
}

void PairField::sum_up_columns() {
  columns_.resize(static_cast<std::size_t>(tiles_along(grid().width_px, kTile_px)));
  for (int x = 0; x < grid().width_px; ++x) {
    Columns& tile = columns_[static_cast<std::size_t>(x / kTile_px)];
    const float row = seam_rows()[x];
    if (x % kTile_px == 0) tile.seam = {row, row};
    tile.seam = {std::min(tile.seam.least, row), std::max(tile.seam.most, row)};
    tile.whole = tile.whole && strength()[x] == 1;
  }
}

void PairField::sum_up_seen() {
  const int across = tiles_along(grid().width_px, kTile_px);
  const int down = tiles_along(grid().height_px, kTile_px);
  all_seen_.assign(static_cast<std::size_t>(across * down), 1);
  const std::uint8_t* seen = seen_by_;
  for (int y = 0; y < grid().height_px; ++y) {
    std::uint8_t* tiles = &all_seen_[static_cast<std::size_t>(y / kTile_px * across)];
    for (int left = 0; left < grid().width_px; left += kTile_px) {
      const int right = std::min(left + kTile_px, grid().width_px);
      std::uint8_t all = kSeenByA | kSeenByB;
      for (int x = left; x < right; ++x) all &= *seen++;
      if (all != (kSeenByA | kSeenByB)) tiles[left / kTile_px] = 0;
    }
  }
}

bool PairField::touches(const Vec3& direction, double reach_rad) const {
  const RibbonAngles at = grid().axes.angles(direction);
  const double end = grid().eta_begin_rad + grid().height_px / grid().px_per_rad;
  if (at.eta_rad < grid().eta_begin_rad - reach_rad || at.eta_rad > end + reach_rad) return false;
  if (grid().closed) return true;
  // A step of a given angle turns farther around the pole the nearer it is.
  const double turn = reach_rad / std::max(1e-3, std::sin(at.eta_rad) - reach_rad);
  const double span = grid().width_px / grid().px_per_rad;
  const double from_middle =
      std::remainder(at.psi_rad - grid().psi_begin_rad - 0.5 * span, 2 * kPi);
  return std::abs(from_middle) <= 0.5 * span + turn;
}

const float* PairField::shifts(std::size_t lens) const {
  const Image& raster = lens == lens_a() ? seam_.warp.shift_a_rad : seam_.warp.shift_b_rad;
  return raster.row<float>(0).data();
}

const float* PairField::tones(std::size_t lens) const {
  if (!seam_.blend) return nullptr;
  return (lens == lens_a() ? seam_.blend->tones_a() : seam_.blend->tones_b()).row(0);
}

// Calls visit(tile) for each tile of columns until it returns false.
template <class Visit>
void PairField::visit_column_tiles(const CornerRun& corners, const Visit& visit) const {
  const int width = grid().width_px;
  for (int x = corners.first_column; x <= corners.last_column;) {
    const int column = grid().closed ? (x % width + width) % width : std::clamp(x, 0, width - 1);
    const int tile = column / kTile_px;
    if (!visit(static_cast<std::size_t>(tile))) return;
    x += std::min((tile + 1) * kTile_px, width) - column;
  }
}

bool PairField::whole(const CornerRun& corners) const {
  bool all = true;
  visit_column_tiles(corners, [&](std::size_t tile) { return all = columns_[tile].whole; });
  return all;
}

bool PairField::shown_by_both(const CornerRun& corners) const {
  const int last = grid().height_px - 1;
  const auto top = static_cast<std::size_t>(std::clamp(corners.first_row, 0, last) / kTile_px);
  const auto bottom = static_cast<std::size_t>(std::clamp(corners.last_row, 0, last) / kTile_px);
  bool all = true;
  visit_column_tiles(corners, [&](std::size_t tile) {
    for (std::size_t y = top; y <= bottom; ++y) {
      all = all && all_seen_[y * columns_.size() + tile] != 0;
    }
    return all;
  });
  return all;
}

RunRange PairField::seam_range(const CornerRun& corners) const {
  RunRange range{static_cast<float>(grid().height_px), 0};
  bool first = true;
  visit_column_tiles(corners, [&](std::size_t tile) {
    const RunRange& seam = columns_[tile].seam;
    range =
        first ? seam : RunRange{std::min(range.least, seam.least), std::max(range.most, seam.most)};
    first = false;
    return true;
  });
  return range;
}

}  // namespace seamwright
