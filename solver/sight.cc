#include "solver/sight.h"

#include "projection/pupil_travel.h"

namespace seamwright {

namespace {

Mat3 cross_matrix(const Vec3& v) {
  Mat3 m;
  m << 0, -v.z(), v.y(), v.z(), 0, -v.x(), -v.y(), v.x(), 0;
  return m;
}

// The point from the rig's origin in the shot of the sight, times ρ: in the world, then in that
// rig.
Vec3 seen_in_world(const BetweenShots& between, const TiePoint& point) {
  return between.world_from_own * point.direction +
         point.inverse_depth * between.own_from_seen_in_world;
}
Vec3 seen_in_rig(const SeeingLens& place, const TiePoint& point) {
  if (!place.between) return point.direction;
  return place.between->seen_from_world * seen_in_world(*place.between, point);
}

}  // namespace

SeeingLens seeing_lens(const Rig& rig, const Tie& tie, const TieSight& sight, ShotStates shots) {
  SeeingLens place{.mounted = rig.lenses[static_cast<std::size_t>(sight.lens)]};
  place.lens_from_seen = place.mounted.rig_from_lens.conjugate().toRotationMatrix();
  if (shots.empty()) return place;
  const int seen = tie.shot_of(sight);
  const ShotState& there = shots[static_cast<std::size_t>(seen)];
  if (sight.lens > 0 && !there.flex.empty()) {
    place.unflex = there.flex_of(sight.lens).conjugate().toRotationMatrix();
    place.lens_from_seen *= place.unflex;
  }
  if (seen == tie.shot) return place;
  const ShotPose& own = shots[static_cast<std::size_t>(tie.shot)].pose;
  place.between = BetweenShots{own.world_from_rig.toRotationMatrix(),
                               there.pose.world_from_rig.conjugate().toRotationMatrix(),
                               own.position - there.pose.position};
  return place;
}

SeeingLenses::SeeingLenses(const Rig& rig, ShotStates shots) : lenses_(rig.lenses.size()) {
  for (const ShotState& shot : shots) {
    for (int lens = 0; lens < rig.lens_count(); ++lens) {
      const Quat& mount = rig.lenses[static_cast<std::size_t>(lens)].rig_from_lens;
      const bool flexed = lens > 0 && !shot.flex.empty();
      unflex_.push_back(flexed ? shot.flex_of(lens).conjugate().toRotationMatrix()
                               : Mat3(Mat3::Identity()));
      lens_from_seen_.push_back(mount.conjugate().toRotationMatrix() * unflex_.back());
    }
    world_from_rig_.push_back(shot.pose.world_from_rig.toRotationMatrix());
    position_m_.push_back(shot.pose.position);
  }
}

SeeingLens SeeingLenses::of(const Rig& rig, const Tie& tie, const TieSight& sight) const {
  const auto lens = static_cast<std::size_t>(sight.lens);
  const auto own = static_cast<std::size_t>(tie.shot);
  const auto seen = static_cast<std::size_t>(tie.shot_of(sight));
  const std::size_t at = seen * lenses_ + lens;
  SeeingLens place{rig.lenses[lens], unflex_[at], lens_from_seen_[at]};
  if (seen == own) return place;
  place.between = BetweenShots{world_from_rig_[own], world_from_rig_[seen].transpose(),
                               position_m_[own] - position_m_[seen]};
  return place;
}

Eigen::Matrix<double, 3, 2> tangent_basis(const Vec3& direction) {
  Eigen::Matrix<double, 3, 2> basis;
  basis.col(0) = direction.unitOrthogonal();
  basis.col(1) = direction.cross(basis.col(0));
  return basis;
}

Mat2 whitener(const Mat2& covariance) {
  // Σ⁻¹ = L Lᵀ, so W = Lᵀ.
  const Mat2 information = covariance.inverse();
  return information.llt().matrixL().transpose();
}

Vec3 point_in_lens(const SeeingLens& place, const TiePoint& point) {
  return place.lens_from_seen *
         (seen_in_rig(place, point) - point.inverse_depth * place.mounted.pupil);
}

Vec2 sight_residual(const SeeingLens& place, const TieSight& sight, const TiePoint& point) {
  const Lens& lens = place.mounted.lens;
  const Vec3 v = seen_past_travel(point_in_lens(place, point), point.inverse_depth,
                                  place.mounted.pupil_travel);
  return with_curve(lens.curve, [&](auto curve) {
    return Vec2(project_with<decltype(curve)>(lens.terms.data(), v) - sight.px);
  });
}

LinearSight linearise(const SeeingLens& place, const TieSight& sight, const Mat2& white,
                      const TiePoint& point) {
  const double rho = point.inverse_depth;
  const Vec3 in_rig = seen_in_rig(place, point) - rho * place.mounted.pupil;
  const Vec3 v = seen_past_travel(place.lens_from_seen * in_rig, rho, place.mounted.pupil_travel);
  const LensSlopes slopes = place.mounted.lens.slopes_at(v);
  const double travel = slopes.theta_rad * slopes.theta_rad;

  const Eigen::Matrix<double, 2, 3> by_ray = white * slopes.by_direction;
  const Eigen::Matrix<double, 2, 3> by_seen = by_ray * place.lens_from_seen;

  LinearSight out;
  out.residual = white * (slopes.px - sight.px);
  // exp(δ)F: v ≈ RᵀFᵀ(q − δ×q) = RᵀFᵀ(q + [q]× δ), q the point before flex and mount; pose alike.
  // The mount turns after the flex: [Fᵀq]× = Fᵀ [q]× F.
  out.by_flex = by_seen * cross_matrix(in_rig);
  out.by_shared.leftCols<kLensTermCount>() = white * slopes.by_terms;
  out.by_shared.block<2, 3>(0, kRotationX) = out.by_flex * place.unflex.transpose();
  out.by_shared.block<2, 3>(0, kPupilX) = -rho * by_seen;
  out.by_shared.col(kPupilTravel) = -rho * travel * by_ray.col(2);
  out.by_inverse_depth =
      -(by_seen * place.mounted.pupil) - place.mounted.pupil_travel * travel * by_ray.col(2);
  if (!place.between) {
    out.by_direction = by_seen;
    out.by_own_pose.setZero();
    out.by_seen_pose.setZero();
    return out;
  }
  const BetweenShots& between = *place.between;
  const Eigen::Matrix<double, 2, 3> by_world = by_seen * between.seen_from_world;
  const Vec3 own_in_world = between.world_from_own * point.direction;
  out.by_direction = by_world * between.world_from_own;
  out.by_inverse_depth += by_world * between.own_from_seen_in_world;
  out.by_own_pose.leftCols<3>() = -by_world * cross_matrix(own_in_world);
  out.by_own_pose.rightCols<3>() = rho * by_world;
  out.by_seen_pose.leftCols<3>() = by_world * cross_matrix(seen_in_world(between, point));
  out.by_seen_pose.rightCols<3>() = -rho * by_world;
  return out;
}

SightByPoint linearise_point(const SeeingLens& place, const TieSight& sight, const Mat2& white,
                             const TiePoint& point) {
  const Vec3 v = seen_past_travel(point_in_lens(place, point), point.inverse_depth,
                                  place.mounted.pupil_travel);
  const DirectionSlopes slopes = place.mounted.lens.direction_slopes_at(v);
  const Eigen::Matrix<double, 2, 3> by_ray = white * slopes.by_direction;
  const Eigen::Matrix<double, 2, 3> by_seen = by_ray * place.lens_from_seen;
  const double travel = place.mounted.pupil_travel * slopes.theta_rad * slopes.theta_rad;

  SightByPoint out;
  out.residual = white * (slopes.px - sight.px);
  out.by_direction = by_seen;
  out.by_inverse_depth = -(by_seen * place.mounted.pupil) - travel * by_ray.col(2);
  if (!place.between) return out;
  const Eigen::Matrix<double, 2, 3> by_world = by_seen * place.between->seen_from_world;
  out.by_direction = by_world * place.between->world_from_own;
  out.by_inverse_depth += by_world * place.between->own_from_seen_in_world;
  return out;
}

}  // namespace seamwright
