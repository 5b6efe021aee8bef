#pragma once

// Lenses of one body rarely agree in exposure and colour; what both see tells by how much.
//
// Over each pair's overlap, patches of about two degrees are averaged in linear light in both
// frames, vignetting divided out: averages forgive parallax and noise where single pixels do not.
// The pair's ratio per channel is the median of the patches' log ratios, so that near objects,
// which sit elsewhere in the two frames, do not pull. Patches with clipped or nearly black samples
// tell nothing and are left out. With more than two lenses the ratios are fitted by least squares.
//
// Gauge: the geometric mean of the gains is 1 in every channel. No lens is preferred, the picture
// keeps the exposure and the white balance it was taken with, and the loss at the bright and at the
// dark end is shared.

#include <array>
#include <span>
#include <vector>

#include "imaging/frame.h"
#include "imaging/transfer.h"
#include "projection/rig.h"
#include "sampling/lens_shader.h"

namespace seamwright {

struct PairGain {
  int lens_a = 0;
  int lens_b = 0;
  int patches = 0;           ///< that could be used
  ChannelGains ratio_ev{};   ///< log2 of lens b's light over lens a's, median
  ChannelGains spread_ev{};  ///< robust standard deviation of one patch
};

struct GainMatch {
  std::vector<ChannelGains> gains;  ///< per lens
  std::vector<PairGain> pairs;      ///< that share directions
  /// False where some pair of neighbours had too few usable patches; its lenses keep their ratio.
  bool complete = true;
};

/// Fewer usable patches than this say nothing about a pair.
inline constexpr int kMinGainPatches = 16;

/// Gains of 1.
[[nodiscard]] GainMatch unit_gains(int lens_count);

/// `frames` one per lens of `rig`, of the rig's frame size and of one kind.
[[nodiscard]] GainMatch match_gains(const Rig& rig, std::span<const Frame> frames,
                                    const TransferCurve& transfer);

}  // namespace seamwright
