#pragma once

// The look of a run, decided before any of its shots is stitched: what every room tells of its
// light (jobs/shot/shot_light.h), the run's anchor of that, and each room's look by it
// (jobs/look/look.h).

#include <filesystem>
#include <map>
#include <string>

#include "base/progress.h"
#include "base/result.h"
#include "jobs/look/look.h"
#include "jobs/restitch/restitch.h"
#include "jobs/restitch/room_lights.h"

namespace seamwright {

struct RunLookReport {
  RunAnchor anchor;
  std::map<std::string, RoomLight> rooms;    ///< by piece; those that could be told
  std::map<std::string, DisplayLook> looks;  ///< what was decided of them
  /// Stops of exposure that frames made for displays would need beyond what is safe.
  std::map<std::string, double> lacking_ev;
};

/// Decides for all pieces that ask for it, whatever part of the run is worked on, and sets it. A
/// shot that cannot be read or is black tells nothing and has no say; its stitch will say why.
/// Fails only when it is told to stop. `folder`: the run's, where lights are remembered.
[[nodiscard]] Result<RunLookReport> decide_run_look(Restitch& restitch,
                                                    const std::filesystem::path& folder,
                                                    RoomLights::Keep keep,
                                                    const ProgressFn& progress = {});

}  // namespace seamwright
