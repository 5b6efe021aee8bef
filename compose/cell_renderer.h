#pragma once

#include <memory>
#include <vector>

#include "compose/blend_weights.h"
#include "compose/lens_map.h"
#include "compose/lens_shader.h"
#include "compose/resample.h"
#include "compose/source_grid.h"
#include "imaging/image.h"
#include "projection/equirect.h"

namespace seamwright {

/// One lens with all that is needed to read it. Stays where it is: its parts refer to each other.
struct LensReader {
  LensMap map;
  KernelWeights kernel;
  PictureSampler sampler;
  LensShader shader;

  LensReader(const MountedLens& mounted, const Image& image, ResampleKernel kind,
             double panorama_px_per_rad, const TransferCurve& transfer, const ChannelGains& gains);
  LensReader(const LensReader&) = delete;
  LensReader& operator=(const LensReader&) = delete;
};

/// Renders cells of a panorama; a pure function of the cell. Thread-safe.
class CellRenderer {
 public:
  CellRenderer(std::vector<std::unique_ptr<LensReader>> lenses, const Equirect& raster,
               const BlendWeights& weights, const TransferCurve& transfer);

  /// Renders a cell into `band`, whose first row is panorama row `band_top`. Returns the number of
  /// pixels that no lens sees; they are black.
  int render(const Cell& cell, Image& band, int band_top) const;

 private:
  struct Work;

  void share_out(const Cell& cell, Work& work) const;
  [[nodiscard]] int share_out_by_pixel(const Cell& cell, Work& work) const;
  void add_lens(std::size_t lens, const Cell& cell, Work& work) const;
  void locate(std::size_t lens, const Cell& cell, Work& work) const;

  std::vector<std::unique_ptr<LensReader>> lenses_;
  Equirect raster_;
  BlendWeights weights_;
  TransferCurve transfer_;
};

}  // namespace seamwright
