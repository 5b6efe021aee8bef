#pragma once

#include <optional>

#include "compose/render/pair_field.h"
#include "compose/render/pair_kernels.h"
#include "sampling/cell.h"

namespace seamwright {

/// What a pair's plan says of every pixel of one cell: the ribbon's rasters, read between their
/// pixels where the cell's lie (Cell::index order). Places beyond a narrow cell's width hold some
/// place of it.
class PairCell {
 public:
  PairCell(const PairField& pair, const Equirect& raster, const Cell& cell);

  [[nodiscard]] std::size_t lens_a() const { return pair_->lens_a(); }
  [[nodiscard]] std::size_t lens_b() const { return pair_->lens_b(); }
  [[nodiscard]] bool has(std::size_t lens) const { return pair_->has(lens); }
  [[nodiscard]] const RibbonAxes& axes() const { return pair_->grid().axes; }

  /// True where the walk is at full strength in all of the cell.
  [[nodiscard]] bool whole() const { return whole_; }
  [[nodiscard]] float strength(std::size_t pixel) const { return whole_ ? 1 : strength_[pixel]; }

  /// The lens to which the seam leaves all of the cell, if it does not come near.
  [[nodiscard]] std::optional<std::size_t> beside_seam() const;
  /// Lens a's shares by the seam alone: a sharp step at the path.
  void seam_shares(RunPlane& share_a) const;

  /// True where both lenses show all of the cell.
  [[nodiscard]] bool shown_by_both() const { return shown_by_both_; }
  /// Lens a's share of `share_a` and `share_b` when what a lens does not show is the other's.
  [[nodiscard]] double share_of_a(std::size_t pixel, double share_a, double share_b) const;

  /// By how much the colatitude must be changed to read a lens of the pair, radians.
  void shifts(std::size_t lens, RunPlane& shifts) const;
  /// What the blend makes of a lens' light; false: nothing.
  [[nodiscard]] bool tones(std::size_t lens, RunTones& tones) const;

 private:
  const PairField* pair_;
  PlaceRun places_;
  CornerRun corners_;
  RunPlane strength_;  // of the walk, where not whole
  bool whole_;
  bool shown_by_both_;
};

}  // namespace seamwright
