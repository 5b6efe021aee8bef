#pragma once

// Catch2 matchers for directions, rotations and pixels:
//   REQUIRE_THAT(direction, same_direction(expected, 1e-9));

#include <algorithm>
#include <cmath>
#include <string>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "projection/conventions.h"

namespace seamwright::test {

/// Angle of the rotation between two orientations, blind to the sign of a quaternion, radians.
[[nodiscard]] inline double angle_between_rotations(const Quat& a, const Quat& b) {
  const Quat between = a.conjugate() * b;
  return 2.0 * std::atan2(between.vec().norm(), std::abs(between.w()));
}

class SameDirection : public Catch::MatcherBase<Vec3> {
 public:
  SameDirection(const Vec3& expected, double tolerance_rad)
      : expected_(expected), tolerance_rad_(tolerance_rad) {}
  bool match(const Vec3& actual) const override {
    return angle_between(actual, expected_) <= tolerance_rad_;
  }
  std::string describe() const override {
    return fmt::format("points along ({}, {}, {}) within {} rad", expected_.x(), expected_.y(),
                       expected_.z(), tolerance_rad_);
  }

 private:
  Vec3 expected_;
  double tolerance_rad_;
};

class SameRotation : public Catch::MatcherBase<Quat> {
 public:
  SameRotation(const Quat& expected, double tolerance_rad)
      : expected_(expected), tolerance_rad_(tolerance_rad) {}
  bool match(const Quat& actual) const override {
    return angle_between_rotations(actual, expected_) <= tolerance_rad_;
  }
  std::string describe() const override {
    return fmt::format("rotates like (w {}, {}, {}, {}) within {} rad", expected_.w(),
                       expected_.x(), expected_.y(), expected_.z(), tolerance_rad_);
  }

 private:
  Quat expected_;
  double tolerance_rad_;
};

class NearPixel : public Catch::MatcherBase<Vec2> {
 public:
  NearPixel(const Vec2& expected, double tolerance_px)
      : expected_(expected), tolerance_px_(tolerance_px) {}
  bool match(const Vec2& actual) const override {
    return (actual - expected_).norm() <= tolerance_px_;
  }
  std::string describe() const override {
    return fmt::format("is within {} px of ({}, {})", tolerance_px_, expected_.x(), expected_.y());
  }

 private:
  Vec2 expected_;
  double tolerance_px_;
};

/// Same direction, any lengths.
[[nodiscard]] inline SameDirection same_direction(const Vec3& expected, double tolerance_rad) {
  return {expected, tolerance_rad};
}
/// Same rotation, up to the quaternion's sign.
[[nodiscard]] inline SameRotation same_rotation(const Quat& expected, double tolerance_rad) {
  return {expected, tolerance_rad};
}
[[nodiscard]] inline NearPixel near_pixel(const Vec2& expected, double tolerance_px) {
  return {expected, tolerance_px};
}

}  // namespace seamwright::test

namespace Catch {

template <>
struct StringMaker<seamwright::Vec3> {
  static std::string convert(const seamwright::Vec3& v) {
    return fmt::format("({}, {}, {})", v.x(), v.y(), v.z());
  }
};

template <>
struct StringMaker<seamwright::Vec2> {
  static std::string convert(const seamwright::Vec2& v) {
    return fmt::format("({}, {})", v.x(), v.y());
  }
};

template <>
struct StringMaker<seamwright::Quat> {
  static std::string convert(const seamwright::Quat& q) {
    return fmt::format("(w {}, {}, {}, {})", q.w(), q.x(), q.y(), q.z());
  }
};

}  // namespace Catch
