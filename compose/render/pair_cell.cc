#include "compose/render/pair_cell.h"

#include <cmath>
#include <cstdint>

#include "compose/render/source_grid.h"

namespace seamwright {

PairCell::PairCell(const PairField& pair, const Equirect& raster, const Cell& cell) : pair_(&pair) {
  fill_ribbon_places(pair.grid(), raster, cell, places_);
  find_corners(places_, pair.shape(), corners_);
  whole_ = pair.whole(corners_);
  if (!whole_) read_columns(pair.strength(), corners_, strength_);
  shown_by_both_ = pair.shown_by_both(corners_);
}

std::optional<std::size_t> PairCell::beside_seam() const {
  constexpr float kRoom_px = 0.05F;  // for rounding
  const RunRange seam = pair_->seam_range(corners_);
  const float reach = 0.5F * pair_->feather_px() + kRoom_px;
  // Places lie within half a pixel of their corners' centres.
  if (static_cast<float>(corners_.last_row) + 0.5F < seam.least - reach) return lens_a();
  if (static_cast<float>(corners_.first_row) + 0.5F > seam.most + reach) return lens_b();
  return std::nullopt;
}

void PairCell::seam_shares(RunPlane& share_a) const {
  read_columns(pair_->seam_rows(), corners_, share_a);
  share_along_seam(share_a, places_, pair_->feather_px(), share_a);
}

double PairCell::share_of_a(std::size_t pixel, double share_a, double share_b) const {
  const auto width = static_cast<std::size_t>(pair_->grid().width_px);
  std::array<std::uint8_t, 4> seen;
  std::uint8_t all = kSeenByA | kSeenByB;
  for (std::size_t i = 0; i < 4; ++i) {
    const auto row = static_cast<std::size_t>(corners_.row[i / 2][pixel]);
    const auto column = static_cast<std::size_t>(corners_.column[i % 2][pixel]);
    seen[i] = pair_->seen_by()[row * width + column];
    all &= seen[i];
  }
  if (all == (kSeenByA | kSeenByB)) return share_a;
  const float right = corners_.right[pixel];
  const float down = corners_.down[pixel];
  const auto shown = [&](std::uint8_t bit) {
    const auto at = [&](std::size_t i) { return (seen[i] & bit) != 0 ? 1.0F : 0.0F; };
    const float above = at(0) + right * (at(1) - at(0));
    const float below = at(2) + right * (at(3) - at(2));
    return static_cast<double>(above + down * (below - above));
  };
  const double by_a = shown(kSeenByA);
  const double by_b = shown(kSeenByB);
  return by_a == by_b ? share_a : share_a * by_a + share_b * (1 - by_b);
}

void PairCell::shifts(std::size_t lens, RunPlane& shifts) const {
  read_raster(pair_->shifts(lens), pair_->grid().width_px, corners_, shifts);
}

bool PairCell::tones(std::size_t lens, RunTones& tones) const {
  const float* raster = pair_->tones(lens);
  if (raster == nullptr) return false;
  read_tones(raster, pair_->grid().width_px, corners_, whole_ ? nullptr : &strength_, tones);
  return true;
}

}  // namespace seamwright
