#pragma once

// A fisheye lens: from a direction in the lens frame to a pixel and back.
//
// With θ the angle off axis and (x, y) the unit vector of the direction in the image plane:
//
//   radius       ρ  = base(θ) · (1 + radial_1 θ² + radial_2 θ⁴ + radial_3 θ⁶ + radial_4 θ⁸)
//   decentring   mx = ρx + decentre_u (ρ² + 2 ρx²) + 2 decentre_v ρx ρy
//                my = ρy + decentre_v (ρ² + 2 ρy²) + 2 decentre_u ρx ρy
//   affine       u  = centre_u + focal ((1 + aspect) mx + shear my)
//                v  = centre_v + focal my
//
// Sources: base curves Schneider, Schwalbe, Maas 2009 (ISPRS J. 64:259–266), lens_curves.h; radius
// Kannala & Brandt 2006 (PAMI 28:1335–1340), which the equidistant base is exactly; decentring
// Brown 1966 (Photogrammetric Engineering 32:444–462); aspect and shear Fraser 1997 (ISPRS J.
// 52:149–159), as a factor and a share of the whole plane point.
// The equidistant base equals OpenCV's cv::fisheye with fx = f (1 + aspect), fy = f, alpha =
// shear / (1 + aspect); OpenCV's pixel origin is the centre of the first pixel, so its cx, cy are
// ours − 0.5.
//
// A lens is usable up to `theta_max_rad`, where it must still be monotonic: `validate()` names the
// angle where it folds otherwise. Everything here is thread-safe and allocation-free.

#include <array>
#include <optional>
#include <string_view>

#include "base/result.h"
#include "projection/conventions.h"
#include "projection/lens_curves.h"

namespace seamwright {

/// The geometric terms a solver may move, in this order everywhere (solver blocks, covariance).
enum LensTerm : int {
  kFocal,    ///< f, px per radian on the axis
  kCentreU,  ///< principal point, px
  kCentreV,
  kRadial1,  ///< dimensionless, as all that follow
  kRadial2,
  kRadial3,
  kRadial4,
  kAspect,
  kShear,
  kDecentreU,
  kDecentreV,
  kLensTermCount
};

inline constexpr std::array<std::string_view, kLensTermCount> kLensTermNames = {
    "focal_px", "centre_u_px", "centre_v_px", "radial_1",   "radial_2",  "radial_3",
    "radial_4", "aspect",      "shear",       "decentre_u", "decentre_v"};

/// Lateral colour: the radius of one colour from the principal point relative to green,
/// r_c = r (1 + a0 + a1 r̂² + a2 r̂⁴), r̂ = r / rim radius. A radial polynomial as in Mallon & Whelan
/// 2007 (Pattern Recognition Letters 28:125–135).
struct FringeTerms {
  double a0 = 0, a1 = 0, a2 = 0;

  [[nodiscard]] double scale(double r_hat) const {
    const double q = r_hat * r_hat;
    return 1.0 + a0 + q * (a1 + q * a2);
  }
  bool operator==(const FringeTerms&) const = default;
};

/// Relative brightness in linear light, 1 + v1 r̂² + v2 r̂⁴ + v3 r̂⁶, r̂ = r / rim radius (Goldman
/// 2010, PAMI 32:2276–2288).
struct VignettingTerms {
  double v1 = 0, v2 = 0, v3 = 0;

  [[nodiscard]] double gain(double r_hat) const {
    const double q = r_hat * r_hat;
    return 1.0 + q * (v1 + q * (v2 + q * v3));
  }
  bool operator==(const VignettingTerms&) const = default;
};

/// A projected pixel and how it moves with the direction.
struct DirectionSlopes {
  Vec2 px = Vec2::Zero();
  double theta_rad = 0;                      ///< off axis
  Eigen::Matrix<double, 2, 3> by_direction;  ///< at the given direction, not normalised
};

/// And how it moves with the lens' terms.
struct LensSlopes : DirectionSlopes {
  Eigen::Matrix<double, 2, kLensTermCount> by_terms;
};

struct Lens {
  LensCurve curve = LensCurve::equidistant;
  std::array<double, kLensTermCount> terms{};
  double theta_max_rad = rad_from_deg(100);  ///< usable half field of view
  int width_px = 0;                          ///< frame size the terms are for
  int height_px = 0;
  FringeTerms red, blue;
  VignettingTerms vignetting;

  [[nodiscard]] Vec2 centre_px() const { return {terms[kCentreU], terms[kCentreV]}; }
  /// Image radius at theta_max along v, px: the unit of r̂.
  [[nodiscard]] double rim_radius_px() const;

  /// Pixel of a direction (lens frame, any length > 0); empty beyond theta_max.
  [[nodiscard]] std::optional<Vec2> project(const Vec3& direction) const;
  /// Same, with the 2×3 Jacobian d px / d direction at the given (not normalised) direction.
  [[nodiscard]] std::optional<Vec2> project(const Vec3& direction,
                                            Eigen::Matrix<double, 2, 3>& jacobian) const;
  /// Pixel with its derivatives by all terms and by the direction. No check of the field of view:
  /// a solver's steps may lead outside for a while.
  [[nodiscard]] LensSlopes slopes_at(const Vec3& direction) const;
  /// The same to the last bit without the terms' derivatives, at half the price.
  [[nodiscard]] DirectionSlopes direction_slopes_at(const Vec3& direction) const;
  /// Unit direction of a pixel; empty beyond theta_max. project(unproject(px)) = px to 1e-9 px.
  [[nodiscard]] std::optional<Vec3> unproject(const Vec2& px) const;

  /// Radius on the unit-focal image plane and its slope at θ, before decentring and affine.
  [[nodiscard]] double radius(double theta_rad) const;
  [[nodiscard]] double radius_slope(double theta_rad) const;
  /// Smallest θ at which the radius stops growing, or the curve's own limit.
  [[nodiscard]] double fold_angle_rad() const;
  /// Largest px per radian, radial or tangential, over the field of view.
  [[nodiscard]] double peak_px_per_rad() const;

  /// Terms for the same picture at `width` × `height` px; both axes must scale alike (asserted to
  /// one pixel).
  [[nodiscard]] Lens scaled_to(int width, int height) const;

  /// Names the field, value and constraint of the first thing wrong.
  [[nodiscard]] std::optional<Error> validate() const;

  bool operator==(const Lens&) const = default;
};

/// The model itself, for any scalar (double, ceres::Jet). No domain check: the caller has one.
/// `terms` points at kLensTermCount scalars.
template <class Curve, class T>
Eigen::Matrix<T, 2, 1> project_with(const T* terms, const Eigen::Matrix<T, 3, 1>& direction) {
  using std::atan2;
  using std::sqrt;
  const T plane2 = direction.x() * direction.x() + direction.y() * direction.y();
  T along_x;
  T along_y;
  const auto poly = [&](const T& theta2) {
    return T(1.0) + theta2 * (terms[kRadial1] +
                              theta2 * (terms[kRadial2] +
                                        theta2 * (terms[kRadial3] + theta2 * terms[kRadial4])));
  };
  if (plane2 < T(1e-24) * direction.z() * direction.z()) {
    // On the axis ρ/sin θ → 1 for every curve, and sqrt has no derivative.
    along_x = direction.x() / direction.z();
    along_y = direction.y() / direction.z();
  } else {
    const T plane = sqrt(plane2);
    const T theta = atan2(plane, direction.z());
    const T rho = Curve::radius(theta) * poly(theta * theta);
    along_x = rho * direction.x() / plane;
    along_y = rho * direction.y() / plane;
  }
  const T rho2 = along_x * along_x + along_y * along_y;
  const T cross = T(2.0) * along_x * along_y;
  const T mx =
      along_x + terms[kDecentreU] * (rho2 + T(2.0) * along_x * along_x) + terms[kDecentreV] * cross;
  const T my =
      along_y + terms[kDecentreV] * (rho2 + T(2.0) * along_y * along_y) + terms[kDecentreU] * cross;
  return {terms[kCentreU] + terms[kFocal] * ((T(1.0) + terms[kAspect]) * mx + terms[kShear] * my),
          terms[kCentreV] + terms[kFocal] * my};
}

}  // namespace seamwright
