#pragma once

// What one lens of a pair sees in the ribbon, pixel by pixel: how far, how sure, and whether the
// other lens sees it too.

#include <cstdint>
#include <vector>

#include "compose/seams/cost_aggregation.h"
#include "compose/seams/match_cost.h"
#include "imaging/image.h"

namespace seamwright {

/// Who sees the point of a pixel.
enum class Visibility : std::uint8_t {
  both,       ///< matched, and confirmed by the match the other way round
  hidden,     ///< something nearer hides it from the other lens: filled from behind
  outside,    ///< beyond the other lens' field: filled from all sides
  unsure,     ///< both may see it but no match could be trusted: filled from all sides
  none = 255  ///< this lens does not look there
};

/// A lens' own depth, in the pixels of its strip at infinity, and where its pupil stands.
struct LensDepth {
  Image inverse_m;      ///< grey f32: inverse distance from the middle of the pupils, 1/m
  Image confidence;     ///< grey f32, 0…1; 0 where filled
  Image visibility;     ///< grey u8, a Visibility
  double offset_m = 0;  ///< of the pupil on the baseline (baseline_view.h)
};

/// The label with the least sum, refined between labels, speckle removed by a 3 × 3 median. Every
/// seen pixel is `both` for now.
[[nodiscard]] LensDepth best_depth(const std::vector<std::int16_t>& sums, const CostVolume& volume,
                                   const Strip& reference, const DepthLabels& labels);

}  // namespace seamwright
