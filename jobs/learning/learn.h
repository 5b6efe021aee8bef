#pragma once

// Frames in, body template out.
//
// Cold start (no template): the image circles give centres and a first focal length for a nominal
// geometry; wide-gated matches and a parallax-tolerant consensus bring rotation and focal length
// close; then ribbons are rebuilt, matched finely and solved in rounds until the rig stops moving.
// With a template as start the first two steps fall away.

#include <filesystem>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "features/image_circle.h"
#include "features/ties.h"
#include "imaging/image.h"
#include "jobs/learning/colour_pass.h"
#include "jobs/learning/line_pass.h"
#include "jobs/learning/stands.h"
#include "jobs/learning/track_pass.h"
#include "solver/learn_rig.h"
#include "templates/rig_template.h"

namespace seamwright {

/// One shot to learn from. Frames are asked for once a round, so that hundreds of shots need not
/// be in memory together.
struct LearnShot {
  std::string name;
  /// One upright frame a lens, all shots of one size.
  std::function<Result<std::vector<Image>>()> load;
  std::vector<TemplateSource> sources;  ///< recorded in the template
};

struct LearnOptions {
  std::string body = "unnamed body";
  std::string starter = "two-back-to-back";  ///< starter_names(); used without `from`
  std::optional<RigTemplate> from;           ///< start and prior
  /// Distance of the first two entrance pupils, m: the scale of all depths. Unset: the starter's
  /// or the template's own.
  std::optional<double> baseline_m;
  int rounds = 3;  ///< of matching and solving
  /// RMS move of the seam below which no further round is made: what is matched through a rig so
  /// near the truth does not change any more.
  double settled_px = 0.1;
  int minimum_ties_per_shot = 12;  ///< a shot with fewer is left out and named
  int cold_shots = 4;              ///< shots that take part in the cold start's consensus
  bool mirrored = false;           ///< the files hold mirrored pictures (they are flipped here)
  TieOptions ties;                 ///< of the fine rounds
  TrackPassOptions tracks;         ///< between shots
  LinePassOptions lines;           ///< straight edges
  LearnRigOptions solving;
  ColourOptions colour;
};

/// How one shot took part.
struct ShotOutcome {
  std::string name;
  int ties = 0;    ///< between its lenses, found in the last round
  int tracks = 0;  ///< to other shots, whose reference is in this one
  int inliers = 0;
  double rms_px = 0;                      ///< of the inliers' residuals
  double flex_deg = 0;                    ///< largest turn of a lens against its mount
  std::vector<double> empty_sectors_deg;  ///< azimuths around the ring without ties
  std::string left_out;                   ///< why the shot did not count; empty when it did
};

struct LearnOutcome {
  RigTemplate rig_template;
  std::vector<ShotOutcome> shots;
  std::vector<std::optional<ImageCircle>> circles;  ///< one a lens, of a cold start
  std::vector<Tie> ties;                            ///< and tracks, of the last round
  std::vector<ShotLink> links;                      ///< which shots see the same things
  std::vector<Stand> stands;                        ///< one a shot
  LearnRigResult solve;
  ColourOutcome colour;
  int rounds = 0;
  double last_move_px = 0;         ///< how far the last round moved the seam, RMS
  std::vector<std::string> notes;  ///< things a person should know, e.g. mirrored frames
};

/// Fails when frames cannot be read, differ in size or number of lenses, when no shot has enough
/// ties, or when the ties do not determine the rig.
[[nodiscard]] Result<LearnOutcome> learn_template(std::span<const LearnShot> shots,
                                                  const LearnOptions& options,
                                                  const ProgressFn& progress = {});

}  // namespace seamwright
