#include "jobs/brackets/grouping.h"

#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>
#include <fmt/format.h>

using namespace seamwright;

namespace {

/// A frame as its header would tell it: seconds after 9:00, exposure time, lens.
ListedFrame frame(const std::string& name, int second, double exposure_s,
                  const std::string& lens = {}) {
  ListedFrame listed{.file = name, .info = {}, .width_px = 200, .height_px = 200};
  listed.info.taken_at = fmt::format("2024:05:14 09:{:02}:{:02}", second / 60, second % 60);
  listed.info.exposure_s = exposure_s;
  listed.info.iso = 200;
  listed.info.f_number = 4;
  listed.info.body_make = "Lantern";
  listed.info.body_model = "Lantern Two";
  if (!lens.empty()) listed.info.lens_model = lens;
  return listed;
}

std::vector<double> steps_ev(const BracketSeries& series) {
  std::vector<double> ev;
  for (const BracketStep& step : series.steps) ev.push_back(step.ev);
  return ev;
}

std::string refusal(const std::vector<ListedFrame>& frames, const GroupingOptions& options = {}) {
  const auto shots = group_brackets(frames, options);
  return shots ? std::string("was grouped") : shots.error().line();
}

GroupingOptions with_pattern(const std::string& text) {
  const auto pattern = FramePattern::parse(text);
  REQUIRE(pattern);
  return {.pattern = *pattern};
}

// Two rooms, two lenses, −3 / 0 / +2 EV each.
std::vector<ListedFrame> two_rooms() {
  std::vector<ListedFrame> frames;
  int number = 0;
  for (const int start : {0, 40}) {
    int second = start;
    for (const double time : {1.0 / 8, 1.0 / 64, 0.5}) {
      for (const char* lens : {"Lantern fisheye back", "Lantern fisheye front"}) {
        frames.push_back(frame(fmt::format("f{:03}.tif", ++number), second, time, lens));
      }
      ++second;
    }
  }
  return frames;
}

}  // namespace

TEST_CASE("Three steps of two lenses in two rooms fall into place") {
  const auto shots = group_brackets(two_rooms());
  REQUIRE(shots);
  REQUIRE(shots->size() == 2);
  for (const BracketShot& shot : *shots) {
    REQUIRE(shot.lenses.size() == 2);
    CHECK(shot.lenses[0].lens == "Lantern fisheye front");
    CHECK(shot.lenses[1].lens == "Lantern fisheye back");
    for (const BracketSeries& series : shot.lenses) {
      CHECK(steps_ev(series) == std::vector<double>{-3, 0, 2});
    }
  }
  const std::string table = bracket_table(two_rooms(), *shots);
  CHECK_THAT(table, Catch::Contains("-3.0 +0.0 +2.0"));
  CHECK(std::count(table.begin(), table.end(), '\n') == 5);
}

TEST_CASE("Nine steps, and bursts of three steps by eight, in any order") {
  std::vector<ListedFrame> nine;
  for (int i = 0; i < 9; ++i) {
    nine.push_back(frame(fmt::format("n{}.tif", i), i, std::exp2(i - 8)));
  }
  const auto one = group_brackets(nine);
  REQUIRE(one);
  CHECK(steps_ev(one->front().lenses.front()) ==
        std::vector<double>{-4, -3, -2, -1, 0, 1, 2, 3, 4});

  const bool series_by_series = GENERATE(true, false);
  std::vector<ListedFrame> burst;
  const double times[] = {0.125, 0.015625, 0.5};
  for (int i = 0; i < 24; ++i) {
    const double time = times[series_by_series ? i % 3 : i / 8];
    burst.push_back(frame(fmt::format("b{:02}.dng", i), i / 4, time));
  }
  const auto shots = group_brackets(burst);
  REQUIRE(shots);
  REQUIRE(shots->size() == 1);
  const BracketSeries& series = shots->front().lenses.front();
  CHECK(series.frame_count() == 24);
  REQUIRE(series.steps.size() == 3);
  for (const BracketStep& step : series.steps) CHECK(step.members.size() == 8);
}

TEST_CASE("A long exposure is no rest between shots") {
  const std::vector<ListedFrame> night = {frame("a.tif", 0, 30), frame("b.tif", 31, 8),
                                          frame("c.tif", 40, 2)};
  const auto shots = group_brackets(night);
  REQUIRE(shots);
  CHECK(shots->size() == 1);
}

TEST_CASE("Shots without a rest are told apart by number or by name") {
  std::vector<ListedFrame> frames;
  for (int i = 0; i < 6; ++i) {
    frames.push_back(frame(fmt::format("{}_{}.tif", i < 3 ? "hall" : "attic", i % 3), i,
                           std::exp2(2 * (i % 3)) / 64));
  }
  const auto counted = group_brackets(frames, {.frames_per_shot = 3});
  REQUIRE(counted);
  REQUIRE(counted->size() == 2);
  CHECK(counted->front().name == "hall");
  const auto named = group_brackets(frames, with_pattern("(?<shot>[a-z]+)_(?<frame>\\d)\\.tif"));
  REQUIRE(named);
  REQUIRE(named->size() == 2);
  CHECK((*named)[1].name == "attic");
}

TEST_CASE("A pattern stands in for EXIF that is not there") {
  std::vector<ListedFrame> bare;
  for (const char* lens : {"0", "1"}) {
    for (const char* ev : {"-3", "+0", "+2"}) {
      bare.push_back({.file = fmt::format("attic_{}_{}.png", lens, ev),
                      .info = {},
                      .width_px = 200,
                      .height_px = 200});
    }
  }
  const auto shots =
      group_brackets(bare, with_pattern("(?<shot>.+)_(?<lens>[01])_(?<ev>[-+]\\d)\\.png"));
  REQUIRE(shots);
  REQUIRE(shots->size() == 1);
  REQUIRE(shots->front().lenses.size() == 2);
  CHECK(shots->front().lenses[1].lens == "1");
  CHECK(steps_ev(shots->front().lenses[1]) == std::vector<double>{-3, 0, 2});
}

TEST_CASE("What cannot be grouped is refused in a clear line") {
  auto missing = two_rooms();
  missing.pop_back();
  CHECK_THAT(refusal(missing), Catch::Contains("lacks the +2.0 EV step: nothing is there beside "));
  CHECK(group_brackets(missing, {.allow_missing = true}));

  auto half = two_rooms();
  half.resize(half.size() - 2);  // the last step of both lenses
  CHECK_THAT(refusal(half), Catch::Contains("a bracket is missing"));

  auto mixed = two_rooms();
  mixed[3].info.body_model = "Lantern Six";
  CHECK_THAT(refusal(mixed), Catch::Contains("Lantern Six"));
  auto sizes = two_rooms();
  sizes[5].width_px = 201;
  CHECK_THAT(refusal(sizes), Catch::Contains("201 x 200 px"));

  auto no_exposure = two_rooms();
  no_exposure[2].info.exposure_s.reset();
  CHECK_THAT(refusal(no_exposure), Catch::Contains("f003.tif: EXIF: says no exposure time"));
  auto no_time = two_rooms();
  no_time[2].info.taken_at.reset();
  CHECK_THAT(refusal(no_time), Catch::Contains("says no date and time"));
  auto never_set = two_rooms();
  never_set[0].info.taken_at = "0000:00:00 00:00:00";
  CHECK_THAT(refusal(never_set), Catch::Contains("says no date and time"));

  CHECK_THAT(refusal({}), Catch::Contains("there are none"));
  CHECK_THAT(refusal(two_rooms(), with_pattern("(?<shot>room).tif")),
             Catch::Contains("does not match"));
  CHECK_THAT(refusal(two_rooms(), with_pattern("(?<ev>.+)\\.tif")),
             Catch::Contains("no number of stops"));
}

TEST_CASE("What does not fit in is left out by name, and the rest is grouped") {
  // Two whole rooms, then what may go wrong, each a minute after the other.
  std::vector<ListedFrame> frames = two_rooms();
  const auto add = [&](const std::string& name, int minute) -> ListedFrame& {
    frames.push_back(frame(name, 60 * minute, 1.0 / 64, "Lantern fisheye front"));
    return frames.back();
  };
  add("lone_front.tif", 2);
  add("six.tif", 3).info.body_model = "Lantern Six";
  add("wide.tif", 4).width_px = 201;
  add("timeless.tif", 5).info.taken_at.reset();
  const auto grouped = group_whole_shots(
      frames, {}, {{.file = "torn.tif", .error = {.where = "torn.tif", .what = "is cut off"}}});
  REQUIRE(grouped);
  CHECK(grouped->shots.size() == 2);
  std::string told;
  for (const LeftOut& left : grouped->left_out)
    told += left.name + " | " + left.error.line() + "\n";
  INFO(told);
  REQUIRE(grouped->left_out.size() == 5);
  for (const std::string line :
       {"torn.tif | torn.tif: is cut off",
        "six.tif | six.tif: body: taken with 'Lantern Lantern Six'",
        "wide.tif | wide.tif: size: 201 x 200 px",
        "timeless.tif | timeless.tif: EXIF: says no date",
        "lone_front | lone_front: lenses: has 1 of them where other shots have 2: there is "
        "only lone_front.tif"}) {
    CHECK_THAT(told, Catch::Contains(line));
  }
  for (const LeftOut& left : grouped->left_out) CHECK(left.shot_known == left.frame.empty());
  // With the exception of the first thing to say, it is what group_brackets refuses.
  CHECK_THAT(refusal(frames), Catch::Contains("Lantern Six"));
}

TEST_CASE("A bracket among single shots is one, and singles that ran together are not") {
  std::vector<ListedFrame> frames;
  const auto shoot = [&](int minute, std::initializer_list<double> times_s) {
    int second = 60 * minute;
    for (const double time_s : times_s) {
      for (const std::string lens : {"Lantern fisheye back", "Lantern fisheye front"}) {
        frames.push_back(frame(fmt::format("f{:03}.tif", frames.size()), second, time_s, lens));
      }
      ++second;
    }
  };
  for (int minute = 0; minute < 4; ++minute) shoot(minute, {1.0 / 64});
  shoot(5, {1.0 / 512, 1.0 / 64, 1.0 / 16});
  auto grouped = group_whole_shots(frames, {}, {});
  REQUIRE(grouped);
  CHECK(grouped->left_out.empty());
  REQUIRE(grouped->shots.size() == 5);
  CHECK(steps_ev(grouped->shots.back().lenses.front()).size() == 3);
  shoot(6, {1.0 / 64, 1.0 / 50});
  grouped = group_whole_shots(frames, {}, {});
  REQUIRE(grouped);
  CHECK(grouped->shots.size() == 5);
  REQUIRE_FALSE(grouped->left_out.empty());
  CHECK_THAT(grouped->left_out.front().error.line(), Catch::Contains("where most series have 1"));
}

TEST_CASE("What a body has decides against a majority that lost a lens") {
  std::vector<ListedFrame> frames;
  for (int i = 0; i < 4; ++i) {
    frames.push_back(frame(fmt::format("r{}_front.tif", i), 60 * i, 1.0 / 64, "front"));
  }
  frames.push_back(frame("r0_back.tif", 0, 1.0 / 64, "back"));
  const auto most = group_whole_shots(frames, {});
  REQUIRE(most);
  CHECK(most->shots.size() == 3);
  const auto of_two = group_whole_shots(frames, {.lens_count = 2});
  REQUIRE(of_two);
  REQUIRE(of_two->shots.size() == 1);
  CHECK(of_two->shots.front().name == "r0");
  CHECK(of_two->left_out.size() == 3);
  // Where none has so many, files may hold all lenses side by side.
  frames.pop_back();
  CHECK(group_whole_shots(frames, {.lens_count = 2})->shots.size() == 4);
}

TEST_CASE("A shot that lost a frame by its name is left out as a whole, and once") {
  std::vector<ListedFrame> frames;
  for (const std::string room : {"attic", "bath", "cellar"}) {
    for (const char* lens : {"front", "back"}) {
      frames.push_back(frame(fmt::format("{}_{}.tif", room, lens), 0, 1.0 / 64));
    }
  }
  frames[2].width_px = 201;  // of the bath
  const GroupingOptions options = with_pattern("(?<shot>[a-z]+)_(?<lens>front|back)\\.tif");
  const auto grouped = group_whole_shots(
      frames, options,
      {{.file = "den_front.tif", .error = {}}, {.file = "den_back.tif", .error = {}}});
  REQUIRE(grouped);
  REQUIRE(grouped->shots.size() == 2);
  CHECK(grouped->shots[0].name == "attic");
  CHECK(grouped->shots[1].name == "cellar");
  REQUIRE(grouped->left_out.size() == 2);
  CHECK(grouped->left_out[0].name == "den");
  CHECK(grouped->left_out[1].name == "bath");
  // Nothing to group is no failure here.
  CHECK(group_whole_shots({}, options)->shots.empty());
}

TEST_CASE("Patterns are checked") {
  const auto refused = [](const std::string& text) {
    const auto pattern = FramePattern::parse(text);
    return pattern ? std::string("was taken") : pattern.error().line();
  };
  CHECK_THAT(refused("(?<room>.+)"), Catch::Contains("no group 'room'"));
  CHECK_THAT(refused("(.+)"), Catch::Contains("no named group"));
  CHECK_THAT(refused("(?<ev>a)(?<ev>b)"), Catch::Contains("twice"));
  CHECK_THAT(refused("(?<ev>[)"), Catch::Contains("not a regular expression"));
  const auto tricky = FramePattern::parse("[(]\\((x)(?:y)(?<shot>z+)");
  REQUIRE(tricky);
  CHECK(tricky->match("((xyzz").at("shot") == "zz");
}
