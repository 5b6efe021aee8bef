#pragma once

// How bright and how white the display picture of a shot is to be: for itself, or so that the rooms
// of a run belong together when somebody walks from one to the next.
//
//   light of each room ──anchor_of──▶ the run's anchor ──look_of──▶ the look of each room
//
// The rule for brightness. A run has one exposure, that of its middle room, and a room keeps it as
// long as it is then shown at most `room_ev` brighter or darker than the middle room. Beyond that
// it gets just as much exposure of its own as brings it back to that limit. Rooms of like light are
// therefore shown with one and the same gain, and a door between two of them agrees on both sides;
// a cellar stays a bit darker than a hall, a courtyard a bit brighter. How much light there was is
// told by EXIF's exposure; a room without it is shown like the middle room.
//
// The rule for white is the same, on the plane of log2 red and blue over green: a room keeps the
// run's white as long as its own greys then show at most `cast_ev` of colour; beyond that its greys
// are brought back to that limit (colours of light are adapted channel by channel, von Kries 1902).
// A room that shows little grey trusts the run more than itself.
//
// The anchor is a median, on steps of a quarter stop (brightness) and a sixteenth (white): a
// further room changes the look of others only where it moves the anchor to another step. It is not
// kept anywhere: the same shots give the same anchor on every machine, in any order, after any
// kill.

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

#include "base/result.h"
#include "jobs/look/picture_light.h"

namespace seamwright {

/// By what the display picture of a shot is decided.
enum class LookMatch : std::uint8_t {
  automatic,  ///< brackets by their own light, single frames not at all
  off,        ///< brackets by their brightness alone, single frames not at all
  shot,       ///< by the shot's own light
  run,        ///< by the run's anchor
};
inline constexpr std::array<std::string_view, 4> kLookMatchNames = {"auto", "off", "shot", "run"};

/// What is done to the light of one shot, in stops.
struct DisplayLook {
  double level_ev = 0;  ///< of the light that it was decided for, log2 of luminance
  double gain_ev = 0;   ///< of grey
  double red_ev = 0;    ///< of red against green
  double blue_ev = 0;   ///< of blue against green

  bool operator==(const DisplayLook&) const = default;
};

/// How a person wishes the look.
struct LookWish {
  LookMatch match = LookMatch::automatic;
  double room_ev = 0.15;  ///< brighter or darker than the run's middle room, 0…2 stops
  double cast_ev = 0.05;  ///< of its own colour of light that a room may keep, 0…1 stop
  double warmer_ev = 0;   ///< red against blue, on top of what is found, −1…1 stop
  /// What the run decided, where it was asked (LookMatch::run); the shot's own light else.
  std::optional<DisplayLook> by_run = {};

  [[nodiscard]] std::optional<Error> validate() const;
};

/// Whether the display picture of a shot is decided here.
[[nodiscard]] bool has_look(const LookWish& wish, bool bracketed);

/// What one shot of a run tells.
struct RoomLight {
  PictureLight light;
  /// log2 of what the frames gathered (relative_exposure() of jobs/brackets/exposure.h); empty
  /// where EXIF does not say it.
  std::optional<double> exposure_ev = {};

  bool operator==(const RoomLight&) const = default;
};

struct RunAnchor {
  std::optional<double> scene_ev = {};  ///< level less exposure of the middle room
  double red_ev = 0;                    ///< of the middle white
  double blue_ev = 0;
};

/// Medians over the rooms, each by itself, on the steps above. Of two in the middle their mean.
/// Rooms that show less than 2 % of grey say nothing of white.
[[nodiscard]] RunAnchor anchor_of(std::span<const RoomLight> rooms);

/// How far the look may go. Light has room for much; frames that were made for displays have not.
struct LookReach {
  double gain_ev = 16;
  double white_ev = 1.5;  ///< of red and of blue against green, together
};
inline constexpr LookReach kReachOfLight = {};
inline constexpr LookReach kReachOfFrames = {.gain_ev = 1, .white_ev = 0.75};

/// The level at which a middle room is shown, log2 of display luminance: L* 57.
inline constexpr double kShownLevel_ev = -2;

/// On steps of 1/256 stop. An anchor without a scene level is the room itself.
[[nodiscard]] DisplayLook look_of(const LookWish& wish, const RoomLight& room,
                                  const RunAnchor& anchor, const LookReach& reach);

/// Factors of red, green and blue; grey of the room's own white keeps its luminance but for
/// `gain_ev`.
[[nodiscard]] std::array<double, 3> factors_of(const DisplayLook& look);

}  // namespace seamwright
