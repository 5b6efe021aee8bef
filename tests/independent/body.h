#pragma once

// The body that stands in the room: two lenses back to back, and the frames that it takes.
//
// Directions are x to the right, y down, z ahead out of the glass of lens 0; pixels are continuous,
// with (0, 0) at the outer corner of the first.

#include <array>
#include <cstdint>
#include <optional>
#include <string>

#include <Eigen/Core>

#include "picture.h"

namespace independent {

using Eigen::Matrix3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

inline constexpr double kDegree = 3.14159265358979323846 / 180;
inline constexpr double kBaseline_m = 0.027;
inline constexpr double kFisheyeField_deg = 204;  // of the renders; stands.inc

/// Where the body stands, in stands.inc's numbers.
struct Stand {
  double heading_deg = 0;
  double pitch_deg = 0;
  double roll_deg = 0;

  /// From axes that are upright and look where the body heads (y down).
  [[nodiscard]] Matrix3d upright_from_body() const;
};
/// Stands 1 to 4 in room.pov, 5 to 7 in hard_room.pov.
inline constexpr std::array<Stand, 7> kStands{{{20, 1.2, -0.8},
                                               {95, -0.9, 1.5},
                                               {160, 1.5, 0.6},
                                               {245, -1.3, -1.1},
                                               {3, 0.8, -0.6},
                                               {88, -0.7, 0.9},
                                               {62, 0.6, 0.4}}};

/// A lens whose curve is r = focal · sin(bend · θ) / bend, between equidistant (bend 0) and
/// orthographic (1).
struct Lens {
  double focal_px = 0;
  double bend = 0;
  Vector2d centre_px;
  Vector2d decentring;                  ///< Brown 1966, on r / focal
  std::array<double, 2> red_fringe{};   ///< radius of red against green: 1 + a + b (r / rim)²
  std::array<double, 2> blue_fringe{};  ///< the same of blue
  /// Light off axis, 1 + v θ + w θ²: real fisheyes, doi 10.1016/j.agrformet.2024.110020.
  std::array<double, 2> vignetting{};
  std::array<double, 3> gain{1, 1, 1};  ///< of red, green, blue
  double rim_deg = 97.5;                ///< where the picture begins to fade
  double fade_deg = 1.0;                ///< until it is black
  Matrix3d body_from_lens = Matrix3d::Identity();

  /// Where green light from a direction of the body falls.
  [[nodiscard]] Vector2d project(const Vector3d& direction_in_body) const;
  /// The direction, in the lens, of the light that a pixel gets: 0 red, 1 green, 2 blue. Empty
  /// beyond the curve's end.
  [[nodiscard]] std::optional<Vector3d> direction_in_lens(const Vector2d& px, int channel) const;
};

/// Lens 0 and lens 1 for frames of 1000 × 1000 px, as they are mounted on average.
[[nodiscard]] std::array<Lens, 2> body_lenses();

/// A small turn of lens 1 against the body, about x, y and z.
[[nodiscard]] Lens turned(const Lens& lens, const Vector3d& turn_deg);

struct Exposure {
  double ev = 0;           ///< light × 2^ev
  double full_well = 0;    ///< electrons at white; 0: no noise
  double read_noise = 4;   ///< electrons
  std::uint32_t seed = 1;  ///< of the noise
};

inline constexpr int kFrame_px = 1000;
inline constexpr double kFrame_px_per_rad = 303;  ///< on the axis, near enough

/// The light that a lens brings to its frame, from a fisheye render of what it sees; 1 is white at
/// an exposure of 0 EV. `lens` 0 or 1: which way the render looks.
[[nodiscard]] Picture light_on_sensor(const Picture& render, const Lens& lens, int which);

/// Clipped, noisy sRGB codes of that light.
[[nodiscard]] Picture exposed(const Picture& light, const Exposure& exposure);

}  // namespace independent
