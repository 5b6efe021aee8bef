#include "jobs/look/look.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "base/median.h"
#include "base/out_of_range.h"

namespace seamwright {

static_assert(static_cast<int>(LookMatch::run) == kLookMatchNames.size() - 1);

namespace {

constexpr double kSceneStep_ev = 1.0 / 4;
constexpr double kWhiteStep_ev = 1.0 / 16;
constexpr double kLookStep_ev = 1.0 / 256;
/// A room that shows less grey than this says nothing of white; from the second on it is believed.
constexpr double kLeastGrey = 0.02;
constexpr double kEnoughGrey = 0.08;

double on_step(double value, double step) { return std::round(value / step) * step; }

/// On the plane of log2 red and blue over green.
struct White {
  double red_ev = 0;
  double blue_ev = 0;

  [[nodiscard]] double length() const { return std::hypot(red_ev, blue_ev); }
  [[nodiscard]] White shortened_to(double most) const {
    const double now = length();
    return now > most ? White{red_ev * most / now, blue_ev * most / now} : *this;
  }
};

// The room's own white, as far as its greys can be believed.
White believed_white(const PictureLight& light, const White& anchor) {
  const double trust =
      std::clamp((light.grey_share - kLeastGrey) / (kEnoughGrey - kLeastGrey), 0.0, 1.0);
  return {anchor.red_ev + trust * (light.red_ev - anchor.red_ev),
          anchor.blue_ev + trust * (light.blue_ev - anchor.blue_ev)};
}

// How much brighter than the middle room a room is shown.
double shown_deviation_ev(const LookWish& wish, const RoomLight& room, const RunAnchor& anchor) {
  if (!anchor.scene_ev || !room.exposure_ev) return 0;
  const double scene_ev = room.light.level_ev - *room.exposure_ev;
  return std::clamp(scene_ev - *anchor.scene_ev, -wish.room_ev, wish.room_ev);
}

}  // namespace

std::optional<Error> LookWish::validate() const {
  if (auto error = out_of_range("room_ev", room_ev, 0, 2)) return error;
  if (auto error = out_of_range("cast_ev", cast_ev, 0, 1)) return error;
  return out_of_range("warmer_ev", warmer_ev, -1, 1);
}

bool has_look(const LookWish& wish, bool bracketed) {
  if (wish.match == LookMatch::automatic) return bracketed;
  return wish.match != LookMatch::off;
}

RunAnchor anchor_of(std::span<const RoomLight> rooms) {
  std::vector<double> scenes, reds, blues;
  for (const RoomLight& room : rooms) {
    if (room.exposure_ev) scenes.push_back(room.light.level_ev - *room.exposure_ev);
    if (room.light.grey_share < kLeastGrey) continue;
    reds.push_back(room.light.red_ev);
    blues.push_back(room.light.blue_ev);
  }
  RunAnchor anchor;
  if (!scenes.empty()) anchor.scene_ev = on_step(even_median(std::move(scenes)), kSceneStep_ev);
  if (reds.empty()) return anchor;
  anchor.red_ev = on_step(even_median(std::move(reds)), kWhiteStep_ev);
  anchor.blue_ev = on_step(even_median(std::move(blues)), kWhiteStep_ev);
  return anchor;
}

DisplayLook look_of(const LookWish& wish, const RoomLight& room, const RunAnchor& anchor,
                    const LookReach& reach) {
  const White of_run{anchor.red_ev, anchor.blue_ev};
  const White own = believed_white(room.light, of_run);
  const White kept = White{own.red_ev - of_run.red_ev, own.blue_ev - of_run.blue_ev}.shortened_to(
      wish.match == LookMatch::run ? wish.cast_ev : 0);
  const White balance =
      White{kept.red_ev - own.red_ev, kept.blue_ev - own.blue_ev}.shortened_to(reach.white_ev);
  const double gain_ev =
      kShownLevel_ev + shown_deviation_ev(wish, room, anchor) - room.light.level_ev;
  return {.level_ev = on_step(room.light.level_ev, kLookStep_ev),
          .gain_ev = on_step(std::clamp(gain_ev, -reach.gain_ev, reach.gain_ev), kLookStep_ev),
          .red_ev = on_step(balance.red_ev + 0.5 * wish.warmer_ev, kLookStep_ev),
          .blue_ev = on_step(balance.blue_ev - 0.5 * wish.warmer_ev, kLookStep_ev)};
}

std::array<double, 3> factors_of(const DisplayLook& look) {
  const double red = std::exp2(look.red_ev);
  const double blue = std::exp2(look.blue_ev);
  // Luminance of what becomes grey, before and after: 1 / red, 1, 1 / blue, and then all 1.
  const double grey = luminance_of({1 / red, 1, 1 / blue});
  const double gain = std::exp2(look.gain_ev) * grey;
  return {gain * red, gain, gain * blue};
}

}  // namespace seamwright
