#pragma once

// Matches between the lenses of one shot that owe nothing to our matcher, and how well a rig meets
// them: what two rigs are judged by.

#include <array>
#include <span>
#include <vector>

#include "imaging/image.h"
#include "projection/rig.h"
#include "projection/tie.h"

namespace seamwright::test {

/// Keys of cv::SIFT in the frames as they are, of all pairs of lenses: mutual nearest neighbours
/// that are clearly nearer than the second. Frames are 8-bit grey.
[[nodiscard]] std::vector<Tie> sift_matches(std::span<const Image> frames);

/// Those that one of two rigs at least brings together within 6 px sideways and in front of it, so
/// that neither rig chooses.
[[nodiscard]] std::vector<Tie> plausible_matches(const std::vector<Tie>& matches, const Rig& one,
                                                 const Rig& other);

/// The twelfth of a pair's ring in which a match stands, by a rig; −1 where that does not see it.
[[nodiscard]] int ring_sector(const Rig& rig, const Tie& match);

/// What no depth explains of matches, px at the focal length.
struct SidewaysJudgement {
  double median_px = 0;  ///< of the sizes of all
  /// Root mean square over sectors of pairs that hold eight matches and more, each by its median:
  /// the noise of single matches has gone, and the matches of one piece of furniture count once.
  double sectors_rms_px = 0;
  int sectors = 0;
};

/// `sectors_by` tells the sectors, the same for all rigs that are judged.
[[nodiscard]] SidewaysJudgement judge_sideways(const Rig& rig, const Rig& sectors_by,
                                               const std::vector<Tie>& matches);

}  // namespace seamwright::test
