#pragma once

#include <cstdint>
#include <vector>

#include "compose/render/pair_kernels.h"
#include "compose/render/seam_plan.h"

namespace seamwright {

/// What was planned for a pair: the rasters of its ribbon, to be read by cells (pair_cell.h). Keeps
/// a reference to the plan. Thread-safe.
class PairField {
 public:
  PairField(const PairSeam& seam, double panorama_px_per_rad);

  [[nodiscard]] std::size_t lens_a() const { return static_cast<std::size_t>(seam_.lens_a); }
  [[nodiscard]] std::size_t lens_b() const { return static_cast<std::size_t>(seam_.lens_b); }
  [[nodiscard]] bool has(std::size_t lens) const { return lens == lens_a() || lens == lens_b(); }

  [[nodiscard]] const RibbonGrid& grid() const { return seam_.warp.grid; }
  [[nodiscard]] RibbonShape shape() const {
    return {grid().width_px, grid().height_px, grid().closed};
  }

  /// True where something within `reach_rad` of a direction may differ from what the lenses show
  /// at infinity.
  [[nodiscard]] bool touches(const Vec3& direction, double reach_rad) const;

  // Rasters, whole rows one after the other.
  /// By how much the colatitude must be changed to read a lens of the pair, radians.
  [[nodiscard]] const float* shifts(std::size_t lens) const;
  [[nodiscard]] const std::uint8_t* seen_by() const { return seen_by_; }
  /// BandBlend::Tones of a lens; null: its light is taken as it is.
  [[nodiscard]] const float* tones(std::size_t lens) const;
  // By column.
  [[nodiscard]] const float* strength() const { return seam_.warp.strength.data(); }
  [[nodiscard]] const float* seam_rows() const { return seam_.path.row_px.data(); }
  /// Full width of the step from one lens to the other, px of the ribbon.
  [[nodiscard]] float feather_px() const { return feather_px_; }

  /// True where the walk is at full strength in all columns of some corners.
  [[nodiscard]] bool whole(const CornerRun& corners) const;
  /// True where both lenses show all of some corners' pixels.
  [[nodiscard]] bool shown_by_both(const CornerRun& corners) const;
  /// Rows that the seam runs through in the columns of some corners, and a bit around.
  [[nodiscard]] RunRange seam_range(const CornerRun& corners) const;

 private:
  static constexpr int kTile_px = 16;

  // What is so in all of a tile's columns.
  struct Columns {
    bool whole = true;
    RunRange seam;
  };
  void sum_up_columns();
  void sum_up_seen();
  template <class Visit>
  void visit_column_tiles(const CornerRun& corners, const Visit& visit) const;

  const PairSeam& seam_;
  const std::uint8_t* seen_by_;
  float feather_px_;
  std::vector<Columns> columns_;        // by tile
  std::vector<std::uint8_t> all_seen_;  // by tile, whole rows of tiles one after the other
};

}  // namespace seamwright
