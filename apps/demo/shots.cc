#include "apps/demo/shots.h"

#include <cmath>

#include <fmt/format.h>

namespace seamwright {
namespace {

/// What the stands of one room share.
struct RoomLook {
  std::string_view room;
  double sensitivity;
  double exposure_s;
};

constexpr RoomLook kHall = {"hall", 0.95, 1.0 / 8};
constexpr RoomLook kLibrary = {"library", 1.0, 1.0 / 6};
constexpr RoomLook kBreakfast = {"breakfast", 0.8, 1.0 / 10};
constexpr RoomLook kBedroom = {"room3", 0.9, 1.0 / 8};
constexpr RoomLook kCourtyard = {"courtyard", 0.075, 1.0 / 250};

}  // namespace

Quat DemoShot::world_from_rig() const {
  // Positive turns about x, y, z: up, to the right, clockwise.
  return Quat(Eigen::AngleAxisd(rad_from_deg(heading_deg), Vec3::UnitY()) *
              Eigen::AngleAxisd(rad_from_deg(pitch_deg), Vec3::UnitX()) *
              Eigen::AngleAxisd(rad_from_deg(roll_deg), Vec3::UnitZ()));
}

std::vector<DemoShot> bracketed(const DemoShot& shot, const std::vector<double>& ev) {
  std::vector<DemoShot> frames;
  const Quat heading(Eigen::AngleAxisd(rad_from_deg(shot.heading_deg), Vec3::UnitY()));
  for (std::size_t i = 0; i < ev.size(); ++i) {
    DemoShot frame = shot;
    frame.sensitivity *= std::exp2(ev[i]);
    frame.exposure_s *= std::exp2(ev[i]);
    frame.frame_number = static_cast<int>(i) + 1;
    constexpr std::size_t kSeconds = 17;
    const int second = 20 + static_cast<int>(i);
    frame.taken_at = fmt::format("{}{:02}", shot.taken_at.substr(0, kSeconds), second);
    const Vec3 ahead(0.35 * (static_cast<double>(i) - 1), 0, 1.1);
    const Vec3 at = shot.position + heading * ahead;
    frame.ball = Vec3(at.x(), -0.75, at.z());
    frames.push_back(std::move(frame));
  }
  return frames;
}

std::vector<DemoShot> demo_shots() {
  std::vector<DemoShot> shots;
  const auto add = [&](const RoomLook& look, int number, double x, double height, double z,
                       double heading_deg, double pitch_deg, double roll_deg) {
    const int minutes = 3 * static_cast<int>(shots.size());
    shots.push_back(
        {.name = fmt::format("{}_{}", look.room, number),
         .room = std::string(look.room),
         .position = {x, -height, z},
         .heading_deg = heading_deg,
         .pitch_deg = pitch_deg,
         .roll_deg = roll_deg,
         .sensitivity = look.sensitivity,
         .exposure_s = look.exposure_s,
         .iso = 200,
         .f_number = 4,
         .taken_at = fmt::format("2024:05:14 {:02}:{:02}:20", 9 + minutes / 60, minutes % 60)});
  };
  add(kHall, 1, 2.05, 1.52, 2.0, 10, 0.6, -0.8);
  add(kHall, 2, 1.45, 1.48, 3.7, 75, -1.1, 0.4);
  add(kHall, 3, 2.95, 1.55, 5.7, 200, 0.3, 1.5);
  add(kLibrary, 1, -2.40, 1.50, 2.90, 5, 0.5, 0.7);
  add(kLibrary, 2, -1.95, 1.45, 3.15, 64, -0.9, 0.3);
  add(kLibrary, 3, -2.80, 1.55, 3.25, 118, 0.2, -1.4);
  add(kLibrary, 4, -2.00, 1.42, 2.45, 171, 1.3, 0.6);
  add(kLibrary, 5, -2.75, 1.58, 2.55, 233, -0.6, -0.5);
  add(kLibrary, 6, -2.30, 1.47, 3.40, 296, 0.8, 1.1);
  add(kBreakfast, 1, 7.30, 1.50, 2.3, 330, -0.7, 0.9);
  add(kBreakfast, 2, 8.20, 1.45, 4.9, 250, 1.2, 0.2);
  add(kBreakfast, 3, 5.35, 1.56, 4.6, 120, 0.4, -1.2);
  add(kBedroom, 1, 2.75, 1.50, 8.7, 345, 0.9, 0.5);
  add(kBedroom, 2, 2.55, 1.46, 10.2, 205, -0.4, -1.0);
  add(kCourtyard, 1, 4.0, 1.55, -34.0, 20, 0.7, 0.6);
  add(kCourtyard, 2, 6.2, 1.50, -31.0, 140, -0.8, 1.2);
  return shots;
}

}  // namespace seamwright
