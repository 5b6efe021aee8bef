#pragma once

#include <optional>
#include <string>
#include <vector>

#include "projection/conventions.h"

namespace seamwright {

/// One stand of the Lantern in the guest house. World axes: x east, y down, z north, the ground
/// floor at y = 0; metres.
struct DemoShot {
  std::string name = {};         ///< for example "library_2"
  std::string room = {};         ///< hall, library, breakfast, room3 or courtyard
  Vec3 position = Vec3::Zero();  ///< of the rig's origin in the world
  double heading_deg = 0;        ///< where lens 0 looks: 0 north, 90 east
  double pitch_deg = 0;          ///< small tilt of the stick, upwards and …
  double roll_deg = 0;           ///< … clockwise as lens 0 sees it
  double sensitivity = 1;        ///< code value 1.0 is reached by light 1 / sensitivity
  double exposure_s = 1.0 / 15;
  double iso = 200;
  double f_number = 4;
  std::string taken_at = {};  ///< "YYYY:MM:DD HH:MM:SS"
  int frame_number = 0;       ///< of several exposures at this stand: each has noise of its own
  std::optional<Vec3> ball = std::nullopt;  ///< where a ball lies that rolls on, in the world

  [[nodiscard]] Quat world_from_rig() const;
};

/// The exposures of a bracket at one stand, `ev` stops from the shot's own, a second apart; a ball
/// of 0.15 m rolls past in front of lens 0, 0.35 m from frame to frame.
[[nodiscard]] std::vector<DemoShot> bracketed(const DemoShot& shot, const std::vector<double>& ev);

/// All stands, room by room. In the library nothing visible is farther than 4 m.
[[nodiscard]] std::vector<DemoShot> demo_shots();

}  // namespace seamwright
