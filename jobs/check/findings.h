#pragma once

// What is wrong with a shot, as far as its own pictures and the body's template can tell: plain
// values that can be ranked, shown and written down.
//
// One scale for all: how much a finding would bother, as pixels of misalignment at the seam of a
// panorama of native width. What is no misalignment is set against it by the rates in
// `BotherRates`; they are a convention of this program, so that one list can be ranked.

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "projection/seam_stroke.h"

namespace seamwright {

enum class FindingKind {
  unreadable,   ///< the frames do not fit one another, or not this template
  mirrored,     ///< left and right are exchanged
  misaligned,   ///< the lenses do not sit where the template says
  unseen_ring,  ///< much of the ring has nothing that tells
  colour_step,  ///< what gains cannot level
  blurred,      ///< one lens is less sharp than the others
  clipped,      ///< much of a frame is white
  tilted,       ///< the stand leaned
  cut_subject,  ///< the seam cuts something that moved or is too near
  torn,         ///< the joined picture shows what no lens does
  seam_misfit,  ///< the pictures do not meet along the seam, joined by depth as they are
  open_border,  ///< a panorama's left and right border do not meet
  wrong_shape,  ///< a panorama that is not 2 : 1, or does not say what it shows
  other_body,   ///< the frames carry another serial number than the template
  told_before,  ///< by the stitch, and by nothing that was looked at afterwards
};
/// "misaligned" and so on, as files and programs read it.
[[nodiscard]] std::string_view name_of(FindingKind kind);

struct Finding {
  FindingKind kind = FindingKind::misaligned;
  double size = 0;                          ///< in the kind's own unit, as `words` say
  double bother_px = 0;                     ///< see above
  std::optional<PanoramaPlace> place = {};  ///< before the panorama is levelled or turned
  std::string words = {};                   ///< what is wrong
  std::string remedy = {};                  ///< what to do
};

/// How many pixels of misalignment bother as much.
struct BotherRates {
  double per_delta_e = 1.0;       ///< a step of one CIEDE2000 at the seam
  double per_octave_of_blur = 4;  ///< half the sharpness of the other lens
  double per_clipped_share = 20;  ///< of a frame, beyond what is allowed
  double per_degree_of_tilt = 1;  ///< beyond what is allowed
  double per_cut_subject = 8;
  double per_torn_place = 6;
  double per_unlike_place = 4;  ///< on the seam, where the lenses do not show the same
  double per_unseen_share = 4;  ///< of the ring
  double other_serial = 2;      ///< the pictures may fit all the same
  double told_before = 1;       ///< of which only the words are known
  double useless = 100;         ///< unreadable, mirrored, wrong shape
};

struct ShotFindings {
  std::string name;
  std::vector<Finding> findings;  ///< what bothers most first

  /// That of the worst finding; 0 where nothing is wrong.
  [[nodiscard]] double score_px() const;
};

/// Adds what a stitch told of the shot ("WORDS; REMEDY"), unless a finding of the same words is
/// there.
void add_told(const std::vector<std::string>& told, ShotFindings& found,
              const BotherRates& rates = {});

/// Orders findings by what bothers most; of equal ones in the order of their kinds.
void rank(std::vector<Finding>& findings);
/// Worst shot first; equal ones by name.
void rank(std::vector<ShotFindings>& shots);

}  // namespace seamwright
