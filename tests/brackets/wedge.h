#pragma once

// A wedge of even patches, half a stop apart over 14 stops, and what a merge of it should give.

#include <vector>

#include "imaging/frame.h"
#include "tests/brackets/synthetic_brackets.h"

namespace seamwright::test {

inline constexpr int kWedgePatch_px = 24;
inline constexpr int kWedgePatches = 29;

/// Light of a patch's green; from just below the shortest exposure's white on down.
[[nodiscard]] double wedge_light(int patch);

struct WedgeSeries {
  std::vector<Frame> frames;
  std::vector<double> nominal;  ///< exposures as EXIF would say them
  std::vector<Photograph> how;  ///< exposures as they were
};

/// Photographs the wedge. `true_ev` is what the shutter gave, `said_ev` what EXIF says.
[[nodiscard]] WedgeSeries take_wedge(const std::vector<double>& true_ev,
                                     const std::vector<double>& said_ev, int height_px,
                                     bool linear);

struct PatchMeasure {
  double light = 0;      ///< true
  double mean = 0;       ///< of the green inside the patch
  double deviation = 0;  ///< of single pixels
  double pixels = 0;
};
[[nodiscard]] PatchMeasure measure_patch(const Image& image, int patch);

/// Signal-to-noise ratio of the best combination: every exposure with weight exposure² / variance
/// (Hasinoff, Durand, Freeman 2010). An exposure whose signal is above `white` counts as clipped.
[[nodiscard]] double best_snr(double light, const std::vector<Photograph>& how, double white);

}  // namespace seamwright::test
