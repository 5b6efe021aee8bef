#pragma once

// Tracks of a learn run, round after round: key points are found once, links and tracks again
// whenever the rig is better.

#include <span>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "features/tracks.h"
#include "projection/rig.h"
#include "solver/shot_state.h"

namespace seamwright {

struct TrackPassOptions {
  bool enabled = true;
  SphereKeyOptions keys;
  LinkOptions links;
  TrackOptions tracks;
};

/// What a round of tracking found.
struct TrackRound {
  std::vector<Tie> tracks;
  std::vector<ShotLink> links;
  std::vector<ShotState> start;  ///< where the shots stood, roughly
  TrackReport report;
};

class TrackPass {
 public:
  /// `frames` gives the frames of shot i, upright, one a lens.
  TrackPass(int shots, FrameSource frames, const TrackPassOptions& options);

  /// Among the shots for which `used` is not 0. `fine`: the rig comes from a solve already, so
  /// gates are tight and tracks refined. Fails when frames cannot be read or `progress` says stop.
  /// Without links every shot stands alone.
  [[nodiscard]] Result<TrackRound> round(const Rig& rig, std::span<const char> used, bool fine,
                                         const ProgressFn& progress);

 private:
  [[nodiscard]] std::optional<Error> find_keys(const Rig& rig, const ProgressFn& progress);

  int shots_;
  FrameSource frames_;
  TrackPassOptions options_;
  std::vector<ShotKeys> keys_;
};

}  // namespace seamwright
