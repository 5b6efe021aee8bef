#include "jobs/look/look.h"

#include <cmath>
#include <vector>

#include <catch2/catch.hpp>

using namespace seamwright;

namespace {

constexpr double kStep = 1.0 / 256;

/// A room whose camera gathered `exposure_ev` and whose light is `scene_ev`.
RoomLight room(double scene_ev, double exposure_ev, double red_ev = 0, double blue_ev = 0) {
  return {.light = {.level_ev = scene_ev + exposure_ev,
                    .red_ev = red_ev,
                    .blue_ev = blue_ev,
                    .grey_share = 0.3},
          .exposure_ev = exposure_ev};
}

constexpr LookWish kByRun = {.match = LookMatch::run};

/// How bright a room is shown, log2.
double shown_ev(const RoomLight& one, const RunAnchor& anchor, const LookWish& wish = kByRun) {
  return one.light.level_ev + look_of(wish, one, anchor, kReachOfLight).gain_ev;
}

/// What of the room's own colour is left.
std::array<double, 2> shown_cast(const RoomLight& one, const RunAnchor& anchor,
                                 const LookWish& wish = kByRun) {
  const DisplayLook look = look_of(wish, one, anchor, kReachOfLight);
  return {one.light.red_ev + look.red_ev, one.light.blue_ev + look.blue_ev};
}

}  // namespace

TEST_CASE("the anchor is the middle room, on steps, in any order", "[look]") {
  const std::vector<RoomLight> rooms = {room(3.1, -4, 0.1, -0.1), room(1, -2, 0.4, -0.5),
                                        room(-2, 0, 0.2, -0.3)};
  const RunAnchor anchor = anchor_of(rooms);
  CHECK(*anchor.scene_ev == 1.0);
  CHECK(anchor.red_ev == 3.0 / 16);    // of 0.2
  CHECK(anchor.blue_ev == -5.0 / 16);  // of -0.3
  const RunAnchor turned = anchor_of(std::vector{rooms[2], rooms[0], rooms[1]});
  CHECK(turned.scene_ev == anchor.scene_ev);
  CHECK(turned.red_ev == anchor.red_ev);
  // Of two the mean, on a step of a quarter: 1.9 / 2 = 0.95.
  CHECK(*anchor_of(std::vector{room(0, 0), room(1.9, 0)}).scene_ev == 1.0);
  // No exposure, no scene; hardly any grey, no white.
  RoomLight lone{.light = {.level_ev = -3, .red_ev = 0.5, .blue_ev = 0, .grey_share = 0.01}};
  CHECK_FALSE(anchor_of(std::vector{lone}).scene_ev);
  CHECK(anchor_of(std::vector{lone}).red_ev == 0);
  CHECK_FALSE(anchor_of({}).scene_ev);
}

TEST_CASE("a further room changes others only where it moves the anchor by a step", "[look]") {
  std::vector<RoomLight> rooms = {room(0.02, 0), room(0.3, 0), room(0.31, 0), room(0.33, 0),
                                  room(2, 0)};
  const RunAnchor before = anchor_of(rooms);
  rooms.push_back(room(-5, 0));
  const RunAnchor after = anchor_of(rooms);
  CHECK(*before.scene_ev == 0.25);
  CHECK(after.scene_ev == before.scene_ev);
  CHECK(look_of(kByRun, rooms[1], before, kReachOfLight) ==
        look_of(kByRun, rooms[1], after, kReachOfLight));
  for (int i = 0; i < 4; ++i) rooms.push_back(room(-5, 0));
  CHECK(*anchor_of(rooms).scene_ev < 0.25);
}

TEST_CASE("rooms of like light get one gain, however the camera exposed them", "[look]") {
  const RunAnchor anchor{.scene_ev = 1};
  const RoomLight dark = room(0.9, -3), bright = room(1.125, -3), longer = room(0.9, -1);
  const auto gain = [&](const RoomLight& one) {
    return look_of(kByRun, one, anchor, kReachOfLight).gain_ev;
  };
  CHECK(gain(dark) == gain(bright));
  CHECK(gain(dark) - gain(longer) == Approx(2).margin(kStep));
  // A door from one to the other shows the same on both sides: gain less exposure is one.
  CHECK(shown_ev(dark, anchor) == Approx(kShownLevel_ev - 0.1).margin(kStep));
  CHECK(shown_ev(bright, anchor) == Approx(kShownLevel_ev + 0.125).margin(kStep));
}

TEST_CASE("a cellar stays a bit darker and a courtyard a bit brighter, and no more", "[look]") {
  const RunAnchor anchor{.scene_ev = 1};
  CHECK(shown_ev(room(-4, 2), anchor) == Approx(kShownLevel_ev - 0.15).margin(kStep));
  CHECK(shown_ev(room(5, -6), anchor) == Approx(kShownLevel_ev + 0.15).margin(kStep));
  LookWish strict = kByRun;
  strict.room_ev = 0;
  CHECK(shown_ev(room(-4, 2), anchor, strict) == Approx(kShownLevel_ev).margin(kStep));
  // Without an exposure, and without a run, every room is the middle one.
  RoomLight untold = room(-4, 2);
  untold.exposure_ev.reset();
  CHECK(shown_ev(untold, anchor) == Approx(kShownLevel_ev).margin(kStep));
  CHECK(shown_ev(room(-4, 2), {}, {.match = LookMatch::shot}) ==
        Approx(kShownLevel_ev).margin(kStep));
}

TEST_CASE("a room keeps a trace of its own light's colour, and no more", "[look]") {
  const RunAnchor anchor{.scene_ev = 0, .red_ev = 0.25, .blue_ev = -0.25};
  // Within the limit nothing of its own is done: the run's white is taken.
  const DisplayLook like = look_of(kByRun, room(0, 0, 0.28, -0.27), anchor, kReachOfLight);
  CHECK(like.red_ev == Approx(-0.25).margin(kStep));
  CHECK(like.blue_ev == Approx(0.25).margin(kStep));
  // 0.3 and 0.4 off is 0.5 in all; a tenth of that stays.
  const auto cast = shown_cast(room(0, 0, 0.55, -0.65), anchor);
  CHECK(cast[0] == Approx(0.03).margin(kStep));
  CHECK(cast[1] == Approx(-0.04).margin(kStep));
  // By itself nothing stays; a person's wish comes on top.
  const auto own = shown_cast(room(0, 0, 0.55, -0.65), {}, {.match = LookMatch::shot});
  CHECK(std::abs(own[0]) <= kStep);
  const auto warm =
      shown_cast(room(0, 0, 0.55, -0.65), {}, {.match = LookMatch::shot, .warmer_ev = 0.2});
  CHECK(warm[0] == Approx(0.1).margin(kStep));
  CHECK(warm[1] == Approx(-0.1).margin(kStep));
}

TEST_CASE("a room without grey takes the run's white, half believed half of it", "[look]") {
  const RunAnchor anchor{.scene_ev = 0, .red_ev = 0.25, .blue_ev = 0};
  LookWish wish = kByRun;
  wish.cast_ev = 0;
  RoomLight green = room(0, 0, -0.75, 0);
  green.light.grey_share = 0.02;
  CHECK(look_of(wish, green, anchor, kReachOfLight).red_ev == Approx(-0.25).margin(kStep));
  green.light.grey_share = 0.05;
  CHECK(look_of(wish, green, anchor, kReachOfLight).red_ev == Approx(0.25).margin(kStep));
  green.light.grey_share = 0.08;
  CHECK(look_of(wish, green, anchor, kReachOfLight).red_ev == Approx(0.75).margin(kStep));
}

TEST_CASE("frames that were made for displays are changed within narrow bounds", "[look]") {
  const DisplayLook dark = look_of(kByRun, room(-7, 0, 0.6, -0.8), {}, kReachOfFrames);
  CHECK(dark.gain_ev == 1);
  CHECK(std::hypot(dark.red_ev, dark.blue_ev) == Approx(0.75).margin(2 * kStep));
  CHECK(look_of(kByRun, room(-0.2, 0), {}, kReachOfFrames).gain_ev == -1);
}

TEST_CASE("factors make the room's white grey and keep its luminance", "[look]") {
  const DisplayLook look{.gain_ev = 0.5, .red_ev = -0.3, .blue_ev = 0.4};
  const auto factors = factors_of(look);
  const std::array<double, 3> white = {std::exp2(0.3), 1, std::exp2(-0.4)};
  const std::array<double, 3> shown = {white[0] * factors[0], white[1] * factors[1],
                                       white[2] * factors[2]};
  CHECK(shown[0] == Approx(shown[1]));
  CHECK(shown[2] == Approx(shown[1]));
  CHECK(luminance_of(shown) == Approx(std::exp2(0.5) * luminance_of(white)));
}

TEST_CASE("which pictures have a look, and which wishes make sense", "[look]") {
  CHECK(has_look({}, true));
  CHECK_FALSE(has_look({}, false));
  CHECK(has_look(kByRun, false));
  CHECK_FALSE(has_look({.match = LookMatch::off}, true));
  CHECK_FALSE(LookWish{}.validate());
  CHECK(LookWish{.room_ev = -0.1}.validate()->field == "room_ev");
  CHECK(LookWish{.cast_ev = 1.5}.validate()->field == "cast_ev");
  CHECK(LookWish{.warmer_ev = std::nan("")}.validate()->field == "warmer_ev");
}
