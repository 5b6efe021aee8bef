#pragma once

// Everything that a shot's own frames tell against its template, as ranked findings.

#include <span>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "imaging/frame.h"
#include "jobs/check/findings.h"
#include "jobs/check/light_check.h"
#include "jobs/check/seam_check.h"
#include "jobs/shot/ring_check.h"
#include "projection/upright_edge.h"
#include "templates/rig_template.h"

namespace seamwright {

struct ShotCheckOptions {
  /// Misalignment that shows, P95 over the ring, px of native width. What is said to be more must
  /// also be more than `sure_sigmas` of its own uncertainty.
  double visible_px = 1.5;
  double sure_sigmas = 2.5;
  double visible_delta_e = 2.5;  ///< step of colour that is left at the seam, worst sector of 30°
  double visible_blur = 0.8;     ///< octaves
  double most_clipped = 0.08;    ///< of a frame; windows and lamps are less
  double most_tilt_deg = 2;
  double most_unseen = 0.5;  ///< of the ring's sectors
  bool level = true;         ///< look for verticals
  /// Edges that the shot file marks as upright: the shot is levelled by them, and so not tilted.
  std::vector<UprightEdge> marked = {};
  bool as_stitched = false;  ///< a knock that a stitch touches by itself is no finding
  bool seams = false;        ///< plan the seams as `stitch` would: some seconds more
  SeamOptions seam = {};     ///< … with these
  BotherRates rates = {};

  [[nodiscard]] std::optional<Error> validate() const;
};

struct ShotCheck {
  ShotFindings found;
  RingCheck ring;
  LightCheck light;  ///< empty where the ring is unreadable
  std::optional<SeamCheck> seams = {};
  std::optional<double> tilt_deg = {};  ///< of the stand, by marked edges or else by found ones
};

/// `body` holds the rig that the shot is stitched with: the template's, with the shot's touch where
/// it has one. `frames` one per lens, upright and not mirrored; fails on frames of another shape,
/// and on marked edges that `stitch` would refuse. Stages told: "matching", "comparing light",
/// "levelling", then those of plan_seams.
[[nodiscard]] Result<ShotCheck> check_shot(const std::string& name, const RigTemplate& body,
                                           std::span<const Frame> frames,
                                           const ShotCheckOptions& options = {},
                                           const ProgressFn& progress = {});

}  // namespace seamwright
