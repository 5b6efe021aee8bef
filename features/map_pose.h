#pragma once

// Where one network of stands lies in another's world, from keys that stands of both may share.
//
// Networks that look into each other through a door share few keys, in a few degrees of the sphere,
// among many that only look alike: too few for a link between any two stands. Put together they are
// not: a motion of one network carries every match of every pair of stands, so that each must cross
// where both say, at distances that go with its sizes. Motions to try come from single pairs of
// stands (find_pair_motions); how far those two stand apart is told by the votes of all others.

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "features/relative_pose.h"

namespace seamwright {

/// X_here = scale · rotation · X_there + translation.
struct MapMotion {
  Quat rotation = Quat::Identity();
  Vec3 translation = Vec3::Zero();
  double scale = 1;

  [[nodiscard]] Vec3 operator*(const Vec3& there) const {
    return scale * (rotation * there) + translation;
  }
  [[nodiscard]] MapMotion inverse() const;
};

/// Two keys that may show the same thing: a's ray in the world here, b's in the world there.
struct Crossing {
  RayPair rays;
  double size_a_rad = 0;
  double size_b_rad = 0;
};

/// A motion there but for the length of the way between two stands: the translation is
/// anchor + length · way.
struct MapStart {
  Quat there_from_here = Quat::Identity();
  Vec3 anchor = Vec3::Zero();
  Vec3 way = Vec3::UnitX();

  [[nodiscard]] MapMotion here_from_there(double length) const;
};

struct MapPoseOptions {
  double threshold_rad = rad_from_deg(0.3);  ///< of the epipolar residual
  double most_size_misfit = 1.7;             ///< factor between sizes and distances
  int draws = 6000;                          ///< of five matches of a pair of stands
  int motions = 2;                           ///< of one pair
  std::uint64_t seed = 1;
  double shortest_m = 0.3;  ///< ways between stands that are tried …
  double longest_m = 25;    ///< … both in the rig's units
  /// Stands are upright to some degrees: poses that lean further are not tried. Worlds' y is down.
  double most_lean_rad = rad_from_deg(8);
  /// Networks have their size by the pupils' baseline, each with a relative error of about this.
  double scale_sigma = 0.05;
};

struct MapPose {
  MapMotion here_from_there;
  std::vector<bool> inlier;  ///< a crossing each
  int inliers = 0;
};

/// Up to `motions` motions X_b = R X_a + t, t of unit length, that most crossings of one pair of
/// stands agree on; rays are in the stands' rigs. `drawn` are indices of crossings to draw from, by
/// fives, for the five-point solver: the surest ones. Each motion must be upright and have six that
/// agree with none before it: a picture that hangs in two rooms hides the door between them. Sizes
/// speak already here: directions alone find eight chance matches among sixty that agree.
[[nodiscard]] std::vector<RelativePose> find_pair_motions(std::span<const Crossing> crossings,
                                                          std::span<const int> drawn,
                                                          const MapPoseOptions& options = {});

/// Crossings that a motion makes meet.
[[nodiscard]] MapPose judge_map_pose(std::span<const Crossing> crossings,
                                     const MapMotion& here_from_there,
                                     const MapPoseOptions& options = {});

/// The length that most crossings agree on, then the motion fitted to those. Empty where it leans.
[[nodiscard]] std::optional<MapPose> find_map_pose(std::span<const Crossing> crossings,
                                                   const MapStart& start,
                                                   const MapPoseOptions& options = {});

}  // namespace seamwright
