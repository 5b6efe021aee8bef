#pragma once

#include <memory>
#include <span>
#include <vector>

#include "compose/render/blend_weights.h"
#include "compose/render/pair_field.h"
#include "compose/render/source_grid.h"
#include "imaging/image.h"
#include "projection/equirect.h"
#include "sampling/lens_reader.h"

namespace seamwright {

/// Renders cells of a panorama; a pure function of the cell. Thread-safe.
///
/// Source positions are interpolated (source_grid.h), where a pair's warp moves something by each
/// pixel's own shift (pair_cell.h, moved_sources.h). At rims, and where two warps overlap, each
/// pixel is located exactly: direction, shifted direction, source pixel. Either way a lens is read
/// in runs (light_kernels.h).
class CellRenderer {
 public:
  CellRenderer(std::vector<std::unique_ptr<LensReader>> lenses, const Equirect& raster,
               const BlendWeights& weights, const TransferCurve& transfer,
               const SeamPlan* seams = nullptr);

  /// Renders a cell into `band`, whose first row is panorama row `band_top`. Returns the number of
  /// pixels that no lens sees; they are black.
  int render(const Cell& cell, Image& band, int band_top) const;
  /// What one lens shows after warp and tone, wherever it sees: alpha 1 there, 0 elsewhere. `band`
  /// has alpha.
  void render_layer(const Cell& cell, std::size_t lens, Image& band, int band_top) const;
  /// One lens' share in the panorama, white where it is alone. `band` is grey.
  void render_mask(const Cell& cell, std::size_t lens, Image& band, int band_top) const;

 private:
  struct Work;

  void look_at(const Cell& cell, Work& work) const;
  void share_out(const Cell& cell, Work& work) const;
  [[nodiscard]] int share_out_by_pixel(const Cell& cell, std::size_t best, Work& work) const;
  [[nodiscard]] bool share_out_along_seam(const Cell& cell, Work& work) const;
  [[nodiscard]] bool has_it_alone(std::size_t lens, const Cell& cell, const Work& work,
                                  std::span<const RunPlane> margins) const;
  void add_lens(std::size_t lens, const Cell& cell, Work& work) const;
  void add_whole(std::size_t lens, const Cell& cell, Work& work) const;
  void add_some(std::size_t lens, const Cell& cell, Work& work) const;
  static void list_pixels(std::size_t lens, const Cell& cell, Work& work);
  [[nodiscard]] static ToneRun read_tones(std::size_t lens, Work& work);
  [[nodiscard]] bool locate_smoothly(std::size_t lens, const Cell& cell, Work& work) const;
  void locate_exactly(std::size_t lens, const Cell& cell, Work& work) const;
  void write(const Cell& cell, const Work& work, std::span<const float> alpha, int band_top,
             Image& band) const;
  void look_up_pairs(const Cell& cell, const Vec3& middle, double reach_rad, Work& work) const;
  static void prefer_who_sees(const Work& work, std::size_t pixel, std::span<double> share);

  std::vector<std::unique_ptr<LensReader>> lenses_;
  Equirect raster_;
  DirectionAt direction_at_;
  BlendWeights weights_;
  TransferCurve transfer_;
  std::vector<PairField> pairs_;
};

}  // namespace seamwright
