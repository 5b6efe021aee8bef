#pragma once

// Two shots of the same scene: which keys they share, and where one stands from the other. Which
// shots overlap is found by trying, strongest keys first.

#include <optional>
#include <vector>

#include "features/key_pair.h"
#include "features/relative_pose.h"
#include "features/sphere_keys.h"

namespace seamwright {

struct LinkOptions {
  double max_ratio = 0.8;  ///< descriptor distance to the best over that to the best elsewhere
  int first_keys = 600;    ///< strongest of a lens that decide whether the rest is worth it; 0: all
  int first_inliers = 12;  ///< what they must bring
  /// Of 72 cells of the sphere (about 30° across), this many must hold inliers in both shots. Two
  /// rooms with the same picture on the wall agree perfectly, on that picture alone.
  int least_cells = 15;
  PoseOptions pose;

  /// For a rig that may be wrong by `rig_error_rad` between its lenses or at the rim.
  [[nodiscard]] static LinkOptions cold_start(double rig_error_rad = rad_from_deg(1.2));
};

struct ShotLink {
  int shot_a = 0;
  int shot_b = 0;
  /// X_b = rotation · X_a + translation, rig frames. The direction of the translation is sure; its
  /// length is in units of the rig with a relative sigma of `distance_sigma`, which is large where
  /// the pupils lie too near together to tell.
  RelativePose b_from_a;
  double distance_sigma = 0;
  std::vector<KeyPair> matches{};  ///< inliers, ordered by a
  int matched = 0;                 ///< before the geometry spoke
  double sigma_rad = 0;            ///< robust epipolar spread of the inliers
  double parallax_rad = 0;         ///< upper quartile of the inliers
  /// The pose is that of the stands' map, the matches were found with its help (map_join.h).
  bool guided = false;
};

/// Empty where the shots do not overlap, too little for certainty, or were taken at one place.
[[nodiscard]] std::optional<ShotLink> link_shots(const ShotKeys& keys_a, const ShotKeys& keys_b,
                                                 int shot_a, int shot_b, const Rig& rig,
                                                 const LinkOptions& options = {});

/// Pairs of keys by their descriptors alone (descriptor_match.h), the `strongest` of each lens only
/// where that is above 0; ordered by a, then b.
[[nodiscard]] std::vector<KeyPair> match_shots(const ShotKeys& a, const ShotKeys& b, const Rig& rig,
                                               double max_ratio, int strongest = 0);

/// The ray of a key through the rig; empty outside the field of view.
[[nodiscard]] std::optional<Ray> ray_of(const Rig& rig, int lens, const Vec2& px);

}  // namespace seamwright
