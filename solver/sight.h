#pragma once

// One sight of a tie, linearised: the smallest piece of the adjustment.
//
// A tie's point is (d, ρ) in the rig frame of its own shot a. Lens i of shot s sees it along
//
//     v = R_iᵀ Fᵀ (q − ρ p_i)          q = S_sᵀ (S_a d + ρ (c_a − c_s))
//
// with R_i the mount, p_i the pupil, F the flex of the lens in that shot, and S, c the rotation and
// the place of a shot in its network. Everything is multiplied by ρ, so that infinity needs no case
// of its own. Within one shot q = d.

#include <optional>
#include <vector>

#include "projection/tie.h"
#include "solver/shared_terms.h"
#include "solver/tie_point.h"

namespace seamwright {

/// The way from a tie's own shot to another one where it is seen.
struct BetweenShots {
  Mat3 world_from_own;          ///< S_a
  Mat3 seen_from_world;         ///< S_sᵀ
  Vec3 own_from_seen_in_world;  ///< c_a − c_s, metres
};

/// The lens of a sight, and how it is turned.
struct SeeingLens {
  const MountedLens& mounted;
  Mat3 unflex = Mat3::Identity();            ///< Fᵀ
  Mat3 lens_from_seen = Mat3::Identity();    ///< R_iᵀ Fᵀ
  std::optional<BetweenShots> between = {};  ///< empty within the tie's own shot
};

[[nodiscard]] SeeingLens seeing_lens(const Rig& rig, const Tie& tie, const TieSight& sight,
                                     ShotStates shots);

/// The places of all sights under one rig and its shots, their rotations turned to matrices once.
class SeeingLenses {
 public:
  SeeingLenses() = default;
  SeeingLenses(const Rig& rig, ShotStates shots);

  /// The same as seeing_lens(); `rig` is the one of the constructor, or equal to it.
  [[nodiscard]] SeeingLens of(const Rig& rig, const Tie& tie, const TieSight& sight) const;

 private:
  std::size_t lenses_ = 0;
  std::vector<Mat3> unflex_;          // [shot][lens]
  std::vector<Mat3> lens_from_seen_;  // [shot][lens]
  std::vector<Mat3> world_from_rig_;
  std::vector<Vec3> position_m_;
};

/// Whitened residual of a sight and its derivatives.
struct LinearSight {
  Vec2 residual = Vec2::Zero();
  Eigen::Matrix<double, 2, kSlotCount> by_shared;  ///< slots of the sight's lens
  Eigen::Matrix<double, 2, 3> by_flex;             ///< rotation vector of its flex, rad
  Eigen::Matrix<double, 2, 3> by_direction;        ///< d as any three numbers
  Vec2 by_inverse_depth = Vec2::Zero();
  /// Steps of the pose of the tie's own shot and of the shot of the sight: a rotation vector from
  /// the left (rad, world frame), then the position (m).
  Eigen::Matrix<double, 2, 6> by_own_pose;
  Eigen::Matrix<double, 2, 6> by_seen_pose;
};

/// The part of it that moves the point alone.
struct SightByPoint {
  Vec2 residual = Vec2::Zero();
  Eigen::Matrix<double, 2, 3> by_direction;
  Vec2 by_inverse_depth = Vec2::Zero();
};

/// Two unit vectors that span the tangent plane at a unit direction, as columns. A tangent step a
/// moves d to (d + basis · a), normalised.
[[nodiscard]] Eigen::Matrix<double, 3, 2> tangent_basis(const Vec3& direction);

/// Σ^(-1/2) of a 2×2 covariance: upper triangular W with WᵀW = Σ⁻¹.
[[nodiscard]] Mat2 whitener(const Mat2& covariance);

/// Where the sight's lens sees the point: vector in the lens frame, before the pupil's travel.
[[nodiscard]] Vec3 point_in_lens(const SeeingLens& place, const TiePoint& point);

/// Residual only.
[[nodiscard]] Vec2 sight_residual(const SeeingLens& place, const TieSight& sight,
                                  const TiePoint& point);

/// Residual and derivatives, whitened by `white`.
[[nodiscard]] LinearSight linearise(const SeeingLens& place, const TieSight& sight,
                                    const Mat2& white, const TiePoint& point);

/// Residual and derivatives by the point.
[[nodiscard]] SightByPoint linearise_point(const SeeingLens& place, const TieSight& sight,
                                           const Mat2& white, const TiePoint& point);

}  // namespace seamwright
