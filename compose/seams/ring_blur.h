#pragma once

// Gaussian smoothing in a ribbon. Columns wrap on a closed one, sums always run in the same order
// around a pixel: a rotated ribbon gives exactly the rotated result, in a coarser raster one that
// is rotated by whole pixels of it.

#include <vector>

#include "imaging/plane.h"

namespace seamwright {

/// Weighted sum with a Gaussian of `sigma_px`, cut at 3 σ, of sum 1; 0 beyond rows 0 … height and,
/// if not `closed`, beyond the columns.
[[nodiscard]] FloatPlane blurred(const FloatPlane& plane, double sigma_px, bool closed);

/// Of what is kept in a coarser raster, pixels of that raster.
inline constexpr double kLeastSigma_px = 3;

/// The same sum at the middles of a coarser raster's pixels, which cover the same ribbon: for what
/// is so smooth that it need not be kept finely. The sum of taps is 1 for each.
[[nodiscard]] FloatPlane reduced(const FloatPlane& plane, double sigma_px, int width_px,
                                 int height_px, bool closed);

/// A coarse raster of the same ribbon, read linearly between its pixels' middles and held beyond
/// the outermost.
[[nodiscard]] FloatPlane enlarged(const FloatPlane& coarse, int width_px, int height_px,
                                  bool closed);

/// blurred() where σ is many pixels: reduced to a raster in which σ is at least kLeastSigma_px, and
/// enlarged again. Differs from it by about a hundredth of what the smoothing leaves, at most.
[[nodiscard]] FloatPlane widely_blurred(const FloatPlane& plane, double sigma_px, bool closed);

/// blurred() for one value a column; ends of an open line count with what they have.
[[nodiscard]] std::vector<float> blurred(const std::vector<float>& line, double sigma_px,
                                         bool closed);

}  // namespace seamwright
