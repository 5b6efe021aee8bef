#pragma once

// From which level on a sample no longer tells how bright the scene was. Full code is 1.0.
//
// Sensors saturate a little unevenly, and developers roll off below white, so no single level
// serves: each question has its own. All are judgements. The stops are those below white on the
// sRGB curve (IEC 61966-2-1). Frames in float do not clip.

namespace seamwright::clipping {

/// Where lenses overlap, a pixel begins to give way to the other lens here (0.27 stops), …
inline constexpr float kGivesWayFrom = 0.92F;
/// … and does so fully from here on (0.05 stops). A pixel is told as clipped where all of its
/// channels are.
inline constexpr float kGone = 0.985F;
/// Brightness of lenses is compared below this only (0.17 stops): a clipped lamp in one frame and
/// not in the other would turn the gains of both.
inline constexpr float kNotCompared = 0.95F;
/// Colour fringes, vignetting and sharpness are measured below this only (0.1 stops), and a check
/// counts what lies above.
inline constexpr float kNotMeasured = 0.97F;
/// Brackets: from here on a frame's pixel counts as clipped, unless the person says otherwise.
inline constexpr double kBracketLevel = 0.99;
/// Brackets: a frame's share in the merge falls smoothly to 0 between these, as shares of the level
/// above.
inline constexpr float kBracketRollFrom = 0.88F;
inline constexpr float kBracketRollTo = 0.96F;

}  // namespace seamwright::clipping
