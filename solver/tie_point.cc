// One tie by itself: where it stands, how well it fits.

#include <array>
#include <cmath>

#include "solver/adjust.h"
#include "solver/sight.h"

namespace seamwright {

namespace {

Quat flex_of(std::span<const Vec3> flex_of_shot, int lens) {
  if (flex_of_shot.empty()) return Quat::Identity();
  return quat_from_rotation_vector(flex_of_shot[static_cast<std::size_t>(lens)]);
}

// One Gauss–Newton step on (direction, ρ); returns the step's length.
double refine_point(const Rig& rig, const Tie& tie, bool free_depth, TiePoint& point) {
  Mat3 normal = Mat3::Zero();
  Vec3 gradient = Vec3::Zero();
  for (const TieSight& sight : tie.sights) {
    const MountedLens& mounted = rig.lenses[static_cast<std::size_t>(sight.lens)];
    const LinearSight linear =
        linearise(mounted, Quat::Identity(), sight, whitener(sight.covariance_px2), point);
    normal += linear.by_point.transpose() * linear.by_point;
    gradient += linear.by_point.transpose() * linear.residual;
  }
  if (!free_depth) {
    normal.row(2).setZero();
    normal.col(2).setZero();
    normal(2, 2) = 1;
    gradient[2] = 0;
  }
  const Vec3 step = -normal.ldlt().solve(gradient);
  if (!step.allFinite()) return 0;
  point.direction =
      (point.direction + tangent_basis(point.direction) * step.head<2>()).normalized();
  point.inverse_depth += step[2];
  return step.norm();
}

}  // namespace

TiePoint locate_tie(const Rig& rig, const Tie& tie, bool free_depth) {
  TiePoint point;
  Vec3 sum = Vec3::Zero();
  for (const TieSight& sight : tie.sights) {
    const auto direction =
        rig.lenses[static_cast<std::size_t>(sight.lens)].direction_in_rig(sight.px);
    if (!direction) return point;
    sum += *direction;
  }
  if (tie.sights.size() < 2 || sum.norm() < 1e-3) return point;
  point.direction = sum.normalized();
  for (int i = 0; i < 10; ++i) {
    if (refine_point(rig, tie, free_depth, point) < 1e-12) break;
  }
  if (point.inverse_depth < 0) {
    point.inverse_depth = 0;
    for (int i = 0; i < 5; ++i) refine_point(rig, tie, false, point);
  }
  point.usable = point.direction.allFinite() && std::isfinite(point.inverse_depth);
  return point;
}

std::optional<Vec2> sight_residual_px(const Rig& rig, const Tie& tie, std::size_t sight,
                                      const TiePoint& point, std::span<const Vec3> flex_of_shot) {
  const TieSight& seen = tie.sights[sight];
  const MountedLens& mounted = rig.lenses[static_cast<std::size_t>(seen.lens)];
  const Quat flex = flex_of(flex_of_shot, seen.lens);
  if (!mounted.lens.project(point_in_lens(mounted, flex, point))) return std::nullopt;
  return sight_residual(mounted, flex, seen, point);
}

double tie_chi2(const Rig& rig, const Tie& tie, const TiePoint& point,
                std::span<const Vec3> flex_of_shot) {
  double sum = 0;
  for (const TieSight& sight : tie.sights) {
    const MountedLens& mounted = rig.lenses[static_cast<std::size_t>(sight.lens)];
    const Vec2 residual = sight_residual(mounted, flex_of(flex_of_shot, sight.lens), sight, point);
    sum += (whitener(sight.covariance_px2) * residual).squaredNorm();
  }
  return sum;
}

}  // namespace seamwright
