#pragma once

// One sight of a tie, linearised: the smallest piece of the adjustment.

#include "projection/tie.h"
#include "solver/adjust.h"
#include "solver/shared_terms.h"

namespace seamwright {

/// Whitened residual of a sight and its derivatives.
struct LinearSight {
  Vec2 residual = Vec2::Zero();
  Eigen::Matrix<double, 2, kSlotCount> by_shared;  ///< slots of the sight's lens
  Eigen::Matrix<double, 2, 3> by_flex;             ///< rotation vector of its flex, rad
  Eigen::Matrix<double, 2, 3> by_point;            ///< two tangent steps of d, then ρ
};

/// Two unit vectors that span the tangent plane at a unit direction, as columns. A tangent step a
/// moves d to (d + basis · a), normalised.
[[nodiscard]] Eigen::Matrix<double, 3, 2> tangent_basis(const Vec3& direction);

/// Σ^(-1/2) of a 2×2 covariance: upper triangular W with WᵀW = Σ⁻¹.
[[nodiscard]] Mat2 whitener(const Mat2& covariance);

/// Where the sight's lens sees the point: vector in the lens frame, before the pupil's travel.
[[nodiscard]] Vec3 point_in_lens(const MountedLens& mounted, const Quat& flex,
                                 const TiePoint& point);

/// Residual only.
[[nodiscard]] Vec2 sight_residual(const MountedLens& mounted, const Quat& flex,
                                  const TieSight& sight, const TiePoint& point);

/// Residual and derivatives, whitened by `white`.
[[nodiscard]] LinearSight linearise(const MountedLens& mounted, const Quat& flex,
                                    const TieSight& sight, const Mat2& white,
                                    const TiePoint& point);

}  // namespace seamwright
