#pragma once

// Networks of stands that look into each other are joined, and pairs of one network that no search
// over the whole sphere could link are linked along epipolar circles.
//
// Joining: a motion from the matches of one pair of stands, on which all pairs of both networks
// vote (map_pose.h). A join must not put things into the other network's lines of sight: the same
// picture on the walls of two rooms agrees with itself perfectly, but it would put the rooms into
// each other.

#include <optional>
#include <span>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "features/guided_match.h"
#include "features/map_pose.h"
#include "features/network_map.h"

namespace seamwright {

struct JoinOptions {
  bool between_networks = true;  ///< false: only pairs of one network are linked
  double max_ratio = 0.8;        ///< of descriptors
  double sure_ratio = 0.72;      ///< … of those that motions are drawn from
  MapPoseOptions pose;
  /// Matches that must agree on a motion: so many and this share of all, since more matches agree
  /// on more by chance (17 of 300 for the best of all motions that were tried) …
  int least_inliers = 12;
  double least_share = 0.03;
  int least_elsewhere = 5;  ///< … and of pairs beside the one that has most
  GuidedMatchOptions guided;
  /// A match counts where its keys' own points, as far as the maps know them, lie as it says.
  double most_map_miss_rad = rad_from_deg(0.6);
  int least_matches = 12;          ///< of a pair, along its circles
  int least_known = 5;             ///< … of a pair with matches that joined two networks
  int least_matches_of_join = 20;  ///< … and of all pairs that join two networks
  double most_blocked = 0.04;      ///< share of lines of sight that the other map would block
  int least_lines = 30;            ///< of sight past the other map: fewer cannot contradict …
  /// … and then, as for a link, so many of 72 cells of the sphere must hold inliers.
  int least_cells = 15;
};

/// What was tried on two networks, the one with the lower number first.
struct JoinTrial {
  int network_here = 0;
  int network_there = 0;
  int matches = 0;  ///< of all pairs, by descriptors alone
  int inliers = 0;
  int elsewhere = 0;  ///< of them, those of other pairs than the best
  int cells = 0;      ///< of 72 of the sphere that hold inliers
  BlockedLines conflicts{};
  int guided = 0;  ///< matches of all their pairs along circles
  bool joined = false;
};

struct Joined {
  std::vector<PlacedShot> shots;  ///< as given, with fewer networks
  std::vector<ShotLink> links;    ///< new ones, ordered by shot_a, then shot_b
  std::vector<JoinTrial> trials;
};

/// A shot that stands alone and is to be joined is a network of its own. `keys[i]` and `shots[i]`
/// are of shot i, as are the links' numbers. Same input, same result, whatever the thread count.
/// Fails only when `progress` says stop.
[[nodiscard]] Result<Joined> join_networks(std::span<const ShotKeys> keys, const Rig& rig,
                                           std::span<const ShotLink> links,
                                           std::vector<PlacedShot> shots,
                                           const JoinOptions& options = {},
                                           const ProgressFn& progress = {});

/// The joins of a survey that is linked and solved in rounds.
class RoundJoins {
 public:
  /// join_networks() of this round. Nothing where a link of the round leads from one network of the
  /// result to another: the solve before did not know it, so where those stand to each other is
  /// known after the next one. Between networks is tried until a round was joined: what one solve's
  /// rig did not join, a slightly better one will not.
  [[nodiscard]] Result<std::optional<Joined>> round(std::span<const ShotKeys> keys, const Rig& rig,
                                                    std::span<const ShotLink> links,
                                                    std::vector<PlacedShot> shots,
                                                    JoinOptions options,
                                                    const ProgressFn& progress = {});

 private:
  bool tried_ = false;
};

}  // namespace seamwright
