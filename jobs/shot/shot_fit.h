#pragma once

// Does a shot fit its template? A quick test before anything is rendered.
//
// The frames are made small and looked at as ring_check.h does: some hundred ties around the ring,
// the template touched with them. What then does not fit is asked for its cause by trying it: the
// same small frames in another order, flipped, turned by quarters, or with a rig that may be far
// from this one. A cause is named only where its trial fits and the shot as given does not.

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.h"
#include "imaging/frame.h"
#include "jobs/shot/ring_check.h"
#include "templates/rig_template.h"
#include "templates/shot_file.h"

namespace seamwright {

enum class FitVerdict : std::uint8_t {
  fits,
  knocked,  ///< the lenses have turned a little, and the ties say with certainty how
  off,      ///< it does not quite fit, and the ties do not say why with certainty
  unsure,   ///< too few ties to tell
  refused,  ///< it does not fit at all: see the cause
};
/// "fits", "knocked" and so on, as programs read it.
[[nodiscard]] std::string_view name_of(FitVerdict verdict);

enum class Misfit : std::uint8_t {
  none,
  two_shots,    ///< the frames are not of one shot
  swapped,      ///< the frames are of each other's lens
  mirrored,     ///< left and right are exchanged
  turned,       ///< frames lie on their side, or one of them on its head
  upside_down,  ///< all frames lie on their head
  other_body,   ///< one rig explains the ties, but it is far from the template's
};
/// "two_shots" and so on, as programs read it.
[[nodiscard]] std::string_view name_of(Misfit cause);

struct FitOptions {
  int small_px = 480;           ///< width of the small frames, about; smaller ones stay as they are
  double visible_px = 1.5;      ///< misalignment that shows, P95 of the ring, px of the frames
  double sure_sigmas = 4;       ///< a knock must be so many of its own sigmas …
  double beyond_body = 4;       ///< … and so many times what the template expects of itself
  double most_knock_deg = 0.6;  ///< a lens that turned farther was not only knocked
};

/// What the quick test found.
struct ShotFit {
  FitVerdict verdict = FitVerdict::unsure;
  Misfit cause = Misfit::none;
  int matched = 0;          ///< places that both lenses of a pair show …
  int agreed = 0;           ///< … and one rig near the template explains
  int ties = 0;             ///< of those, spread evenly and refined
  double p95_px = 0;        ///< misalignment against the template, px of the frames
  double sigma_px = 0;      ///< of it
  double left_px = 0;       ///< what a touch leaves of it sideways, RMS of the ties
  double expected_px = 0;   ///< of the template itself, 1σ
  double used_share = 0;    ///< of the ties, by the touch
  double unseen_share = 0;  ///< of the ring, without a tie
  int keys = 0;             ///< places that stand out in the strip that has fewer
  double knock_deg = 0;     ///< how far the lens that turned most did
  std::string words = {};   ///< what is wrong, one line; empty where it fits
  std::string remedy = {};
  std::optional<ShotTouch> touch = {};  ///< of `knocked`: against the template's own rig
  std::optional<Rig> touched_rig = {};  ///< … and what it makes of it, at the template's size
  /// Another serial number than the template's, one line; empty where there is none. Evidence,
  /// never a reason to refuse.
  std::string other_serial = {};
  std::string taken_at = {};     ///< EXIF time of the first frame; empty: it says none
  std::vector<Vec3> turns = {};  ///< of each lens by that touch, rotation vectors in the rig, rad
};

/// `body` as the shot is to be stitched: with its touch where it has one. `frames` one a lens,
/// upright and not mirrored. Fails on frames of another shape or number than the template's.
[[nodiscard]] Result<ShotFit> fit_shot(const RigTemplate& body, std::span<const Frame> frames,
                                       const FitOptions& options = {});

/// What to do about `other_serial`.
inline constexpr std::string_view kOtherSerialRemedy =
    "give the template of that body; if the number is wrong, look along the seam and go on";

/// A refusal as an error of the shot of that name.
[[nodiscard]] Error refusal_of(const ShotFit& fit, const std::string& shot_name);

}  // namespace seamwright
