#pragma once

// The essential matrices of five bearing pairs.
//
// D. Nistér 2004, "An efficient solution to the five-point relative pose problem", PAMI
// 26:756–770, with the action matrix of H. Stewénius, C. Engels, D. Nistér 2006, "Recent
// developments on direct relative orientation", ISPRS J. 60:284–294. Everything is on unit
// bearings, so directions beyond 180° of view are as good as any. PoseLib has such a
// solver; Debian 12 has no package of it.

#include <array>
#include <vector>

#include "projection/conventions.h"

namespace seamwright {

/// Two bearings of the same point, unit vectors in the frames of stand a and of stand b.
struct BearingPair {
  Vec3 a = Vec3::UnitZ();
  Vec3 b = Vec3::UnitZ();
};

/// Every real E with bᵀ E a = 0 for the five pairs, E = [t]× R for X_b = R X_a + t; up to ten,
/// of unit Frobenius norm and either sign. Empty for degenerate bearings.
[[nodiscard]] std::vector<Mat3> essential_matrices(const std::array<BearingPair, 5>& pairs);

/// X_b = rotation · X_a + translation.
struct RelativePose {
  Quat rotation = Quat::Identity();
  Vec3 translation = Vec3::UnitX();
};

/// The four motions that an essential matrix stands for; unit translations.
[[nodiscard]] std::array<RelativePose, 4> motions_of(const Mat3& essential);

}  // namespace seamwright
