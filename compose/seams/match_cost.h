#pragma once

// How badly two strips of a pair agree, for every pixel of one of them and every depth.

#include <cstdint>
#include <vector>

#include "compose/seams/label_windows.h"
#include "sampling/strip.h"

namespace seamwright {

/// Depth hypotheses: label k stands for the inverse distance k · step_inverse_m, label 0 for
/// infinity. Fractions of labels are meaningful.
struct DepthLabels {
  int count = kLabelsTogether;
  double step_inverse_m = 0;
  double px_per_label = 1;  ///< largest disparity between neighbouring labels, ribbon px
};

/// Labels from infinity to `nearest_m` such that neighbours differ by at most `step_px`, a multiple
/// of kLabelsTogether.
[[nodiscard]] DepthLabels depth_labels(const RibbonGrid& grid, double half_baseline_m,
                                       double nearest_m, double step_px);

/// One byte a label that is tried, labels of a pixel side by side (LabelWindows::index).
struct CostVolume {
  int width_px = 0;
  int height_px = 0;
  bool closed = false;  ///< the first column follows the last
  LabelWindows windows;
  std::vector<std::uint8_t> cost;
};

/// One lens of a pair: its strip, and its pupil's offset along the baseline (baseline_view.h).
struct BaselineStrip {
  const Strip& strip;
  double offset_m = 0;
};

/// A normalised brightness of 1 in the whole numbers that costs are counted in.
inline constexpr float kCostUnit = 32.0F;

/// The largest cost; hypotheses that the other lens does not see cost `kUnseenCost`, which is what
/// a middling match costs: it neither attracts nor repels.
inline constexpr int kMostCost = 255;
inline constexpr int kUnseenCost = 64;

/// Sweeps the depths: the other strip is resampled along η to how the reference lens would see it
/// if everything lay at one label, and compared by the differences to the neighbours in a small
/// window, each clipped (a census transform that keeps magnitudes). What is common to a
/// neighbourhood (exposure, colour, flare) cancels; a neighbour across a depth edge counts little.
/// `windows` has the strips' size and says what is tried. `volume` is overwritten; what it holds
/// already is used again.
void match_cost(const BaselineStrip& reference, const BaselineStrip& other,
                const DepthLabels& labels, LabelWindows windows, CostVolume& volume);

}  // namespace seamwright
