#include "solver/sight.h"

#include <cmath>

#include <ceres/jet.h>

namespace seamwright {

namespace {

constexpr int kJetSize = kLensTermCount + 3;
using LensJet = ceres::Jet<double, kJetSize>;

// The pupil's travel depends on the angle it changes; three turns leave less than 1e-9 rad.
Vec3 with_pupil_travel(const MountedLens& mounted, const Vec3& from_pupil, double inverse_depth) {
  if (mounted.pupil_travel == 0 || inverse_depth == 0) return from_pupil;
  Vec3 seen = from_pupil;
  for (int i = 0; i < 3; ++i) {
    const double theta = std::atan2(std::hypot(seen.x(), seen.y()), seen.z());
    seen = from_pupil - inverse_depth * Vec3(0, 0, mounted.pupil_travel * theta * theta);
  }
  return seen;
}

Mat3 cross_matrix(const Vec3& v) {
  Mat3 m;
  m << 0, -v.z(), v.y(), v.z(), 0, -v.x(), -v.y(), v.x(), 0;
  return m;
}

Vec2 project_unchecked(const Lens& lens, const Vec3& direction) {
  return with_curve(lens.curve, [&](auto curve) {
    return Vec2(project_with<decltype(curve)>(lens.terms.data(), direction));
  });
}

// Pixel with derivatives by the lens terms (first kLensTermCount) and by the direction (last 3).
Eigen::Matrix<LensJet, 2, 1> project_jet(const Lens& lens, const Vec3& direction) {
  std::array<LensJet, kLensTermCount> terms;
  for (int i = 0; i < kLensTermCount; ++i) {
    terms[static_cast<std::size_t>(i)] = LensJet(lens.terms[static_cast<std::size_t>(i)], i);
  }
  const Eigen::Matrix<LensJet, 3, 1> ray(LensJet(direction.x(), kLensTermCount),
                                         LensJet(direction.y(), kLensTermCount + 1),
                                         LensJet(direction.z(), kLensTermCount + 2));
  return with_curve(lens.curve,
                    [&](auto curve) { return project_with<decltype(curve)>(terms.data(), ray); });
}

}  // namespace

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

Vec3 point_in_lens(const MountedLens& mounted, const Quat& flex, const TiePoint& point) {
  return mounted.rig_from_lens.conjugate() *
         (flex.conjugate() * (point.direction - point.inverse_depth * mounted.pupil));
}

Vec2 sight_residual(const MountedLens& mounted, const Quat& flex, const TieSight& sight,
                    const TiePoint& point) {
  const Vec3 v =
      with_pupil_travel(mounted, point_in_lens(mounted, flex, point), point.inverse_depth);
  return project_unchecked(mounted.lens, v) - sight.px;
}

LinearSight linearise(const MountedLens& mounted, const Quat& flex, const TieSight& sight,
                      const Mat2& white, const TiePoint& point) {
  const Vec3 in_rig = point.direction - point.inverse_depth * mounted.pupil;
  const Vec3 unflexed = flex.conjugate() * in_rig;
  const Mat3 lens_from_rig = mounted.rig_from_lens.conjugate().toRotationMatrix();
  const Mat3 lens_from_flexed = lens_from_rig * flex.conjugate().toRotationMatrix();
  const Vec3 v = with_pupil_travel(mounted, lens_from_rig * unflexed, point.inverse_depth);
  const auto px = project_jet(mounted.lens, v);

  Eigen::Matrix<double, 2, kJetSize> slope;
  slope << px.x().v.transpose(), px.y().v.transpose();
  slope = white * slope;
  const Eigen::Matrix<double, 2, 3> by_ray = slope.rightCols<3>();

  LinearSight out;
  out.residual = white * (Vec2(px.x().a, px.y().a) - sight.px);
  out.by_shared.leftCols<kLensTermCount>() = slope.leftCols<kLensTermCount>();
  // exp(δ)R: v ≈ Rᵀ(q − δ×q) = Rᵀ(q + [q]× δ), q the point before the mount; flex alike.
  out.by_shared.block<2, 3>(0, kRotationX) = by_ray * lens_from_rig * cross_matrix(unflexed);
  out.by_shared.block<2, 3>(0, kPupilX) = -point.inverse_depth * by_ray * lens_from_flexed;
  out.by_flex = by_ray * lens_from_flexed * cross_matrix(in_rig);
  out.by_point.leftCols<2>() = by_ray * lens_from_flexed * tangent_basis(point.direction);
  out.by_point.col(2) = -by_ray * lens_from_flexed * mounted.pupil;
  return out;
}

}  // namespace seamwright
