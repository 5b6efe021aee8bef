#pragma once

// The conventions of every coordinate in seamwright, once. tests/projection/conventions_test.cc
// pins them.
//
// Pixels     Continuous. (0,0) is the outer corner of the top-left pixel, centres sit at +0.5;
//            u to the right, v down.
// Frames     Lens and rig frame: x right, y down, z forward (out of the glass). Lens 0 fixes the
//            rig's orientation: its rig_from_lens is the identity.
// Transforms Named by both ends: v_in_rig = rig_from_lens * v_in_lens.
// Directions Unit 3-vectors, the only geometric currency: a fisheye sees beyond 90°, where (u,v,1)
//            fails.
// Panorama   Equirectangular W × H: longitude λ = 2π(u/W − ½), latitude φ = π(½ − v/H),
//            direction d = (cos φ sin λ, −sin φ, cos φ cos λ). The seam λ = ±π is at the left and
//            right border, the zenith along the top edge (−y is up).
// Units      Radians unless a name says _deg; metres; pixels _px. A rig without a known baseline
//            is in units of its own baseline (Rig::metric is then false).

#include <numbers>

#include <Eigen/Core>
#include <Eigen/Geometry>

namespace seamwright {

using Vec2 = Eigen::Vector2d;
using Vec3 = Eigen::Vector3d;
using Mat2 = Eigen::Matrix2d;
using Mat3 = Eigen::Matrix3d;
using Quat = Eigen::Quaterniond;

inline constexpr double kPi = std::numbers::pi;
[[nodiscard]] constexpr double rad_from_deg(double deg) { return deg * (kPi / 180.0); }
[[nodiscard]] constexpr double deg_from_rad(double rad) { return rad * (180.0 / kPi); }

/// Rotation vector (axis × angle, radians) to quaternion and back; exact through zero, angle in
/// [0, π].
[[nodiscard]] Quat quat_from_rotation_vector(const Vec3& rotation_rad);
[[nodiscard]] Vec3 rotation_vector_from_quat(const Quat& rotation);

/// Angle between two directions, stable near 0 and π (Kahan's atan2 form).
[[nodiscard]] double angle_between(const Vec3& a, const Vec3& b);

}  // namespace seamwright
