#pragma once

#include <memory>
#include <vector>

#include "compose/render/cell_plan.h"
#include "imaging/image.h"

namespace seamwright {

/// Renders cells of a panorama; a pure function of the cell. Thread-safe.
///
/// Who shows a cell is planned first (cell_plan.h), then each lens that has a share is read
/// (lens_light.h), then the sum is encoded (cell_samples.h).
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
  RenderSources sources_;
  TransferCurve transfer_;
};

}  // namespace seamwright
