#pragma once

// A piece of what one lens sees, resampled for key points: a ribbon, or a plane that touches the
// sphere.
//
// Brightness is made comparable in two steps. `match_plane` (lens_view.h) takes the green channel:
// the one that the lens model describes; a mix of colours would smear by the lateral colour of the
// lens. The `normalised` raster then has its local mean removed and is divided by its local
// deviation plus a noise floor, so that exposure, colour casts and vignetting do not matter.

#include "imaging/image.h"
#include "sampling/cell_sources.h"
#include "sampling/lens_view.h"

namespace seamwright {

struct NormaliseOptions {
  int window_px = 31;          ///< side of the local window, odd, 9…101
  float noise_floor = 0.004F;  ///< deviation that counts as noise, on match_plane's 0…1 scale
};

/// Rasters of one size.
struct ResampledView {
  Image raw;         ///< grey f32, resampled match plane; 0 where not valid
  Image normalised;  ///< grey f32, local mean 0 and deviation about 1; 0 where not valid
  Image valid;       ///< grey u8, 255 where the lens sees the direction
};

/// Resamples a frame at infinity, cells in parallel: cubic B-spline, averaged over the raster pixel
/// where the raster is coarser than the frame. Source positions are those of cell_sources.h.
[[nodiscard]] ResampledView resample(const LensView& view, const DirectionAt& direction_at,
                                     int width_px, int height_px,
                                     const NormaliseOptions& options = {});

/// Sets `normalised` from `raw` and `valid`.
void normalise(ResampledView& view, const NormaliseOptions& options);

}  // namespace seamwright
