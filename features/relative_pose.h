#pragma once

// Where one stand is from another, from rays that are said to meet.
//
// Rays have their own origins, the lenses' pupils: a few centimetres at a metre or two would bend
// bearings by more than the threshold. Random sampling (five-point solver, fixed seed) takes the
// bearings as if from one point; the refinement then knows the pupils and, through them, something
// about the distance between the stands in units of the rig. Residuals are angles: of the Sampson
// form on the sphere,
//
//   r = b · (B × R a) / √(|B × R a|² + |B × b|²),   B = T + R o_a − o_b,
//
// whose deviation is that of one bearing.

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "features/five_point.h"

namespace seamwright {

struct Ray {
  Vec3 origin = Vec3::Zero();  ///< in the rig
  Vec3 direction = Vec3::UnitZ();
};

struct RayPair {
  Ray a, b;
};

struct PoseOptions {
  double threshold_rad = rad_from_deg(0.5);         ///< inlier limit while searching
  double least_threshold_rad = rad_from_deg(0.08);  ///< … and the smallest after refinement
  double least_parallax_rad = rad_from_deg(1);      ///< less turns about one place
  int least_inliers = 30;
  double least_share = 0.06;  ///< of all pairs
  int max_iterations = 1500;
  std::uint64_t seed = 1;
};

struct PoseEstimate {
  RelativePose pose;          ///< X_b = R X_a + T, rig frames, units of the rig as far as known
  double distance_sigma = 0;  ///< of |T|, relative; large where the pupils do not tell it
  double sigma_rad = 0;       ///< robust spread of the inliers' residuals
  double parallax_rad = 0;    ///< upper quartile of the inliers' angle between R a and b
  std::vector<bool> inlier;   ///< a pair each
  int inliers = 0;
};

/// Empty without enough agreement, and where both stands are at one place.
[[nodiscard]] std::optional<PoseEstimate> estimate_pose(std::span<const RayPair> pairs,
                                                        const PoseOptions& options = {});

/// The estimate again from a start, for example after the rays were refined.
[[nodiscard]] std::optional<PoseEstimate> refine_pose(std::span<const RayPair> pairs,
                                                      const RelativePose& start,
                                                      const PoseOptions& options = {});

/// Epipolar residual of a pair, radians; empty near the epipoles, where it says nothing.
[[nodiscard]] std::optional<double> epipolar_residual(const RelativePose& pose,
                                                      const RayPair& pair);

/// Distances along both rays to where they come nearest to each other. Empty for parallel rays.
struct RayDepths {
  double a = 0;
  double b = 0;
};
[[nodiscard]] std::optional<RayDepths> ray_depths(const RelativePose& pose, const RayPair& pair);

}  // namespace seamwright
