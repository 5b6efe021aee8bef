#pragma once

// One lens with all that is needed to read it, and the whole way of a pixel in one place:
//
//   where    map        direction → pixel of green, exact            (lens_map.h)
//                       … of a whole cell, from few nodes            (cell_sources.h)
//   what     sampler    pixel → code value, one interpolation        (picture_sampler.h)
//   light    shader     each colour at its own place, decoded, vignetting divided out, gain
//                       applied, a position or a run of them         (lens_shader.h,
//                       light_kernels.h)
//
// Matching looks at the same frames through other eyes, which want derivatives and even noise
// rather than light: a spline of one plane (lens_view.h). Where a pixel lies they learn from the
// same cells.

#include "sampling/lens_map.h"
#include "sampling/lens_shader.h"
#include "sampling/picture_sampler.h"

namespace seamwright {

/// Stays where it is: its parts refer to each other, and to what it is made from. Thread-safe.
struct LensReader {
  LensMap map;
  KernelWeights kernel;
  PictureSampler sampler;
  LensShader shader;

  /// For an output of `px_per_rad`: where that is coarser than the lens, the kernel is as much
  /// wider.
  LensReader(const MountedLens& mounted, const Image& image, ResampleKernel kind, double px_per_rad,
             const TransferCurve& transfer, const ChannelGains& gains);
  /// At the frame's own resolution, gains of 1.
  LensReader(const MountedLens& mounted, const Image& image, const TransferCurve& transfer);
  LensReader(const LensReader&) = delete;
  LensReader& operator=(const LensReader&) = delete;
};

}  // namespace seamwright
