#pragma once

// Tracks of a learn run, round after round: key points are found once, links and tracks again
// whenever the rig is better.

#include <span>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "features/map_join.h"
#include "features/tracks.h"
#include "projection/rig.h"
#include "solver/shot_state.h"

namespace seamwright {

struct TrackPassOptions {
  bool enabled = true;
  SphereKeyOptions keys;
  LinkOptions links;
  bool join_networks = true;  ///< rooms that see each other through doors
  JoinOptions joining;
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

  /// Among the shots for which `used` is not 0. `solved` is where a solve of this rig has the
  /// shots, one each: then gates are tight, tracks refined, and what one link cannot tell is sought
  /// with the help of the map. Empty: the rig is rough. Fails when frames cannot be read or
  /// `progress` says stop. Without links every shot stands alone.
  [[nodiscard]] Result<TrackRound> round(const Rig& rig, std::span<const char> used,
                                         std::span<const ShotState> solved,
                                         const ProgressFn& progress);

 private:
  [[nodiscard]] std::optional<Error> find_keys(const Rig& rig, const ProgressFn& progress);
  [[nodiscard]] Result<std::vector<ShotLink>> find_strong_links(const Rig& rig,
                                                                std::span<const char> used,
                                                                bool fine,
                                                                const ProgressFn& progress) const;

  int shots_;
  FrameSource frames_;
  TrackPassOptions options_;
  std::vector<ShotKeys> keys_;
  RoundJoins joins_;
};

}  // namespace seamwright
