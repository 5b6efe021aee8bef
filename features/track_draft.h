#pragma once

// Tracks on their way from chained keys to ties: which of a chain's sights is the reference, how
// far the point is, which sights are still in.

#include <optional>
#include <span>
#include <vector>

#include "features/link_table.h"
#include "features/sphere_keys.h"
#include "features/track_chain.h"
#include "features/tracks.h"

namespace seamwright {

/// Where a lens shows a draft's point, and how well that is known.
struct DraftSight {
  int shot = 0;
  int lens = 0;
  Vec2 px = Vec2::Zero();
  Mat2 covariance_px2 = Mat2::Identity();
  bool alive = true;
};

struct TrackDraft {
  std::vector<DraftSight> sights;  ///< the reference first
  double distance = 0;  ///< of the point from the reference's pupil, rig units; 0: not known

  [[nodiscard]] const DraftSight& reference() const { return sights.front(); }
  [[nodiscard]] int shot() const { return reference().shot; }
};

/// Drafts, the links that they were chained from, and what became of them so far.
struct DraftSet {
  LinkTable links;
  std::vector<TrackDraft> tracks = {};
  TrackReport report = {};
};

/// A sight of a list of drafts, by indices.
struct DraftPlace {
  std::size_t track = 0;
  std::size_t sight = 0;
};

/// Empty where a lens does not see its place.
[[nodiscard]] std::optional<RayPair> rays_of(const Rig& rig, const DraftSight& a,
                                             const DraftSight& b);

/// Of the point from the pupil of ray a; what meets nowhere or very far is at sixty times the way
/// between the stands.
[[nodiscard]] double bounded_distance(const RelativePose& pose, const RayPair& rays);

/// A draft of each chain that reaches over to a shot which the reference's is linked to. The
/// reference is linked to as many of the others as can be, and of middling size, so that no other
/// view is much closer or much farther. Sights without a link to it are left out.
[[nodiscard]] std::vector<TrackDraft> draft_tracks(
    std::span<const ShotKeys> keys, const LinkTable& links, const Rig& rig,
    const std::vector<std::vector<KeyOfShot>>& chains);

/// Removes dead sights, and drafts that have none left in another shot than the reference's.
void bury(std::vector<TrackDraft>& tracks);

}  // namespace seamwright
