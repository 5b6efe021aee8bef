#include "projection/lens.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "base/user_error.h"

namespace seamwright {

namespace {

using Terms = std::array<double, kLensTermCount>;

// 1 + radial_1 q + radial_2 q² + radial_3 q³ + radial_4 q⁴ and its derivative by θ, with q = θ².
double radial_poly(const Terms& t, double q) {
  return 1.0 + q * (t[kRadial1] + q * (t[kRadial2] + q * (t[kRadial3] + q * t[kRadial4])));
}
double radial_poly_slope(const Terms& t, double theta) {
  const double q = theta * theta;
  return 2.0 * theta *
         (t[kRadial1] + q * (2.0 * t[kRadial2] + q * (3.0 * t[kRadial3] + q * 4.0 * t[kRadial4])));
}

// A scalar with one derivative: just enough to differentiate a base curve.
struct Dual {
  double value = 0;
  double slope = 0;
  Dual(double v) : value(v) {}  // NOLINT(google-explicit-constructor): mixes with constants
  Dual(double v, double s) : value(v), slope(s) {}
};
Dual operator*(const Dual& a, const Dual& b) {
  return {a.value * b.value, a.slope * b.value + a.value * b.slope};
}
Dual operator/(const Dual& a, const Dual& b) {
  return {a.value / b.value, (a.slope * b.value - a.value * b.slope) / (b.value * b.value)};
}
Dual sin(const Dual& a) { return {std::sin(a.value), a.slope * std::cos(a.value)}; }
Dual tan(const Dual& a) {
  const double t = std::tan(a.value);
  return {t, a.slope * (1.0 + t * t)};
}

Dual base_radius(LensCurve curve, double theta) {
  return with_curve(curve, [&](auto c) { return decltype(c)::radius(Dual(theta, 1.0)); });
}

double curve_limit(LensCurve curve) {
  return with_curve(curve, [](auto c) { return decltype(c)::theta_limit_rad; });
}

// θ with radius(θ) = rho on [0, theta_max], by Newton kept inside a shrinking bracket.
double invert_radius(const Lens& lens, double rho) {
  double low = 0;
  double high = lens.theta_max_rad;
  double theta = std::min(rho, high);
  for (int i = 0; i < 100; ++i) {
    const double error = lens.radius(theta) - rho;
    (error > 0 ? high : low) = theta;
    const double slope = lens.radius_slope(theta);
    double next = slope > 0 ? theta - error / slope : 0.5 * (low + high);
    if (next < low || next > high) next = 0.5 * (low + high);
    if (std::abs(next - theta) <= 1e-15 * (1.0 + theta)) return next;
    theta = next;
  }
  return theta;
}

// Undoes decentring: the plane point whose decentred image is m.
Vec2 undo_decentring(const Terms& t, const Vec2& m) {
  const double du = t[kDecentreU];
  const double dv = t[kDecentreV];
  if (du == 0 && dv == 0) return m;
  Vec2 x = m;
  for (int i = 0; i < 50; ++i) {
    const double r2 = x.squaredNorm();
    const double xy2 = 2.0 * x.x() * x.y();
    const Vec2 error(x.x() + du * (r2 + 2 * x.x() * x.x()) + dv * xy2 - m.x(),
                     x.y() + dv * (r2 + 2 * x.y() * x.y()) + du * xy2 - m.y());
    Mat2 slope;
    slope << 1 + 6 * du * x.x() + 2 * dv * x.y(), 2 * du * x.y() + 2 * dv * x.x(),
        2 * dv * x.x() + 2 * du * x.y(), 1 + 6 * dv * x.y() + 2 * du * x.x();
    const Vec2 step = slope.inverse() * error;
    x -= step;
    if (step.squaredNorm() < 1e-30) break;
  }
  return x;
}

// The plane point a = ρ(θ) · (x, y) / √(x² + y²) of a direction.
struct PlanePoint {
  double theta_rad = 0;
  double base = 0;           // radius of the base curve
  Vec2 unit = Vec2::Zero();  // zero on the axis
  Vec2 a = Vec2::Zero();
  Eigen::Matrix<double, 2, 3> by_direction;
};

[[gnu::always_inline]] inline PlanePoint plane_point(const Lens& lens, const Vec3& direction) {
  const double plane = direction.head<2>().norm();
  PlanePoint out;
  out.theta_rad = std::atan2(plane, direction.z());
  const double q = out.theta_rad * out.theta_rad;
  const Dual base = base_radius(lens.curve, out.theta_rad);
  out.base = base.value;
  if (plane < 1e-12 * direction.z()) {
    out.a = direction.head<2>() / direction.z();
    out.by_direction.leftCols<2>() = Mat2::Identity() / direction.z();
    out.by_direction.col(2) = -out.a / direction.z();
    return out;
  }
  const double n2 = direction.squaredNorm();
  const double poly = radial_poly(lens.terms, q);
  const double rho = base.value * poly;
  out.unit = direction.head<2>() / plane;
  out.a = rho * out.unit;
  const double slope =
      base.slope * poly + base.value * radial_poly_slope(lens.terms, out.theta_rad);
  const Vec3 theta_by_direction(direction.z() * out.unit.x() / n2,
                                direction.z() * out.unit.y() / n2, -plane / n2);
  out.by_direction = slope * out.unit * theta_by_direction.transpose();
  out.by_direction.leftCols<2>() +=
      rho / plane * (Mat2::Identity() - out.unit * out.unit.transpose());
  return out;
}

// From the plane point to the pixel: decentring m(a), then affine.
struct PixelMap {
  Vec2 by_du = Vec2::Zero();  // of m
  Vec2 by_dv = Vec2::Zero();
  Vec2 m = Vec2::Zero();
  Mat2 m_by_a;
  Mat2 px_by_m;
};

[[gnu::always_inline]] inline PixelMap pixel_map(const Terms& t, const Vec2& a) {
  const double du = t[kDecentreU];
  const double dv = t[kDecentreV];
  const double r2 = a.squaredNorm();
  const double xy2 = 2 * a.x() * a.y();
  PixelMap map;
  map.by_du = Vec2(r2 + 2 * a.x() * a.x(), xy2);
  map.by_dv = Vec2(xy2, r2 + 2 * a.y() * a.y());
  map.m = a + du * map.by_du + dv * map.by_dv;
  const double mixed = 2 * (du * a.y() + dv * a.x());
  map.m_by_a << 1 + 6 * du * a.x() + 2 * dv * a.y(), mixed, mixed,
      1 + 6 * dv * a.y() + 2 * du * a.x();
  map.px_by_m << 1 + t[kAspect], t[kShear], 0, 1;
  map.px_by_m *= t[kFocal];
  return map;
}

[[gnu::always_inline]] inline DirectionSlopes slopes_of(const Lens& lens, const PlanePoint& plane,
                                                        const PixelMap& map) {
  DirectionSlopes out;
  out.px = lens.centre_px() + map.px_by_m * map.m;
  out.theta_rad = plane.theta_rad;
  out.by_direction = map.px_by_m * map.m_by_a * plane.by_direction;
  return out;
}

bool inside_field(const Lens& lens, const Vec3& d) {
  return std::atan2(std::hypot(d.x(), d.y()), d.z()) <= lens.theta_max_rad * (1.0 + 1e-12);
}

std::optional<Error> validate_colour(const Lens& lens) {
  const auto not_finite = [](std::string field) {
    return option_error(std::move(field), "is not a finite number", "give numbers");
  };
  const auto finite = [](double a, double b, double c) { return std::isfinite(a + b + c); };
  if (!finite(lens.red.a0, lens.red.a1, lens.red.a2)) return not_finite("red");
  if (!finite(lens.blue.a0, lens.blue.a1, lens.blue.a2)) return not_finite("blue");
  const VignettingTerms& vignetting = lens.vignetting;
  if (!finite(vignetting.v1, vignetting.v2, vignetting.v3)) return not_finite("vignetting");
  constexpr int kSteps = 100;
  for (int i = 0; i <= kSteps; ++i) {
    const double r_hat = static_cast<double>(i) / kSteps;
    if (vignetting.gain(r_hat) > 0) continue;
    return option_error("vignetting",
                        fmt::format("its gain {:.4g} at {:.2f} of the rim radius is not above 0",
                                    vignetting.gain(r_hat), r_hat),
                        "correct v1…v3");
  }
  return std::nullopt;
}

// Decentring moves a radius ρ in the direction of d by 3 |d| ρ²: it folds where 6 |d| ρ reaches 1
// on the far side. Half of that is already far beyond any lens.
std::optional<Error> validate_decentring(const Lens& lens) {
  const double du = lens.terms[kDecentreU];
  const double dv = lens.terms[kDecentreV];
  if (6 * std::hypot(du, dv) * lens.radius(lens.theta_max_rad) <= 0.5) return std::nullopt;
  return option_error("decentre_u/decentre_v", fmt::format("{} / {} is no lens", du, dv),
                      "decentring terms are of the order of 0.001");
}

}  // namespace

double Lens::radius(double theta_rad) const {
  return base_radius(curve, theta_rad).value * radial_poly(terms, theta_rad * theta_rad);
}

double Lens::radius_slope(double theta_rad) const {
  const Dual base = base_radius(curve, theta_rad);
  return base.slope * radial_poly(terms, theta_rad * theta_rad) +
         base.value * radial_poly_slope(terms, theta_rad);
}

double Lens::rim_radius_px() const { return terms[kFocal] * radius(theta_max_rad); }

std::optional<Vec2> Lens::project(const Vec3& direction) const {
  if (!inside_field(*this, direction)) return std::nullopt;
  return with_curve(curve, [&](auto c) {
    return std::optional<Vec2>(project_with<decltype(c)>(terms.data(), direction));
  });
}

std::optional<Vec2> Lens::project(const Vec3& direction,
                                  Eigen::Matrix<double, 2, 3>& jacobian) const {
  if (!inside_field(*this, direction)) return std::nullopt;
  const DirectionSlopes slopes = direction_slopes_at(direction);
  jacobian = slopes.by_direction;
  return slopes.px;
}

LensSlopes Lens::slopes_at(const Vec3& direction) const {
  const PlanePoint plane = plane_point(*this, direction);
  const PixelMap map = pixel_map(terms, plane.a);
  LensSlopes out;
  static_cast<DirectionSlopes&>(out) = slopes_of(*this, plane, map);
  out.by_terms.col(kFocal) = map.px_by_m * map.m / terms[kFocal];
  out.by_terms.col(kCentreU) = Vec2::UnitX();
  out.by_terms.col(kCentreV) = Vec2::UnitY();
  Vec2 radial = map.px_by_m * map.m_by_a * plane.unit * plane.base;
  for (int term = kRadial1; term <= kRadial4; ++term) {
    radial *= plane.theta_rad * plane.theta_rad;
    out.by_terms.col(term) = radial;
  }
  out.by_terms.col(kAspect) = Vec2(terms[kFocal] * map.m.x(), 0);
  out.by_terms.col(kShear) = Vec2(terms[kFocal] * map.m.y(), 0);
  out.by_terms.col(kDecentreU) = map.px_by_m * map.by_du;
  out.by_terms.col(kDecentreV) = map.px_by_m * map.by_dv;
  return out;
}

DirectionSlopes Lens::direction_slopes_at(const Vec3& direction) const {
  const PlanePoint plane = plane_point(*this, direction);
  return slopes_of(*this, plane, pixel_map(terms, plane.a));
}

std::optional<Vec3> Lens::unproject(const Vec2& px) const {
  const double my = (px.y() - terms[kCentreV]) / terms[kFocal];
  const double mx =
      ((px.x() - terms[kCentreU]) / terms[kFocal] - terms[kShear] * my) / (1.0 + terms[kAspect]);
  const Vec2 plane = undo_decentring(terms, {mx, my});
  const double rho = plane.norm();
  if (!(rho <= radius(theta_max_rad) * (1.0 + 1e-12))) return std::nullopt;
  if (rho < 1e-150) return Vec3::UnitZ();
  const double theta = invert_radius(*this, rho);
  const double s = std::sin(theta) / rho;
  return Vec3(s * plane.x(), s * plane.y(), std::cos(theta));
}

double Lens::fold_angle_rad() const {
  // The slope is smooth: scan finely for its first sign change, then bisect.
  const double limit = curve_limit(curve);
  constexpr int kSteps = 2000;
  double low = 0;
  for (int i = 1; i <= kSteps; ++i) {
    double high = limit * i / kSteps;
    if (radius_slope(high) > 0) {
      low = high;
      continue;
    }
    for (int j = 0; j < 60; ++j) {
      const double middle = 0.5 * (low + high);
      (radius_slope(middle) > 0 ? low : high) = middle;
    }
    return low;
  }
  return limit;
}

double Lens::peak_px_per_rad() const {
  constexpr int kSteps = 200;
  double peak = terms[kFocal];
  for (int i = 1; i <= kSteps; ++i) {
    const double theta = theta_max_rad * i / kSteps;
    // Tangential resolution diverges towards θ = 180°; it means detail only where the circle of
    // directions is not yet shrinking.
    const double tangential = theta <= kPi / 2 ? radius(theta) / std::sin(theta) : radius(theta);
    peak = std::max(peak, terms[kFocal] * std::max(radius_slope(theta), tangential));
  }
  return peak;
}

Lens Lens::scaled_to(int width, int height) const {
  if (width == width_px && height == height_px) return *this;
  const double scale = static_cast<double>(width) / width_px;
  assert(std::abs(scale * height_px - height) <= 1.0);
  Lens scaled = *this;
  scaled.width_px = width;
  scaled.height_px = height;
  scaled.terms[kFocal] *= scale;
  scaled.terms[kCentreU] *= scale;
  scaled.terms[kCentreV] *= scale;
  return scaled;
}

std::optional<Error> Lens::validate() const {
  for (int i = 0; i < kLensTermCount; ++i) {
    const auto index = static_cast<std::size_t>(i);
    if (!std::isfinite(terms[index])) {
      return option_error(std::string(kLensTermNames[index]), "is not a finite number",
                          "give a number");
    }
  }
  if (width_px <= 0 || height_px <= 0) {
    return option_error("size_px", fmt::format("{} x {} is not a frame size", width_px, height_px),
                        "give the frame's width and height in pixels");
  }
  if (terms[kFocal] <= 0) {
    return option_error("focal_px", fmt::format("{} is not above 0", terms[kFocal]),
                        "give pixels per radian on the axis");
  }
  if (terms[kAspect] <= -0.5 || terms[kAspect] >= 1.0 || std::abs(terms[kShear]) >= 0.5) {
    return option_error("aspect/shear",
                        fmt::format("{} / {} is no lens", terms[kAspect], terms[kShear]),
                        "keep aspect within -0.5…1 and shear within ±0.5");
  }
  if (!(theta_max_rad > 0 && theta_max_rad < kPi)) {
    return option_error("theta_max_deg",
                        fmt::format("{} is outside 0…180", deg_from_rad(theta_max_rad)),
                        "give half the usable field of view");
  }
  const double fold = fold_angle_rad();
  if (fold < theta_max_rad) {
    return option_error(
        "theta_max_deg",
        fmt::format("the {} curve folds at {:.3f} degrees, inside the stated {:.3f}",
                    curve_name(curve), deg_from_rad(fold), deg_from_rad(theta_max_rad)),
        "lower theta_max_deg or correct the radial terms");
  }
  if (auto error = validate_decentring(*this)) return error;
  return validate_colour(*this);
}

}  // namespace seamwright
