#pragma once

#include <filesystem>
#include <string>
#include <utility>

#include <catch2/catch.hpp>

#include "apps/workbench/session.h"
#include "tests/support/scratch_dir.h"

namespace seamwright::test {

[[nodiscard]] inline ManualTie tie_at(double u) {
  return {.range = TieRange::far, .sigma_px = 0.3, .sights = {{0, Vec2(u, 20.1)}, {1, {7, 8}}}};
}

[[nodiscard]] inline SeamStroke stroke_at(double longitude_rad) {
  return {.wish = StrokeWish::lens,
          .lens = 1,
          .reach_rad = 0.02,
          .path = {{longitude_rad, 0.1}, {longitude_rad + 0.1, 0.2}}};
}

[[nodiscard]] inline UprightEdge edge_at(double longitude_rad) {
  return {{{{longitude_rad, 0.4}, {longitude_rad + 0.01, -0.3}}}};
}

[[nodiscard]] inline ShotFile plain_shot() {
  ShotFile shot;
  shot.frames = {"front.tif", "back.tif"};
  shot.rig_template = TemplateReference{"T.template.yaml", std::string(64, 'a')};
  return shot;
}

/// A folder for one shot.
struct SessionBench {
  ScratchDir scratch;
  std::filesystem::path file = scratch / "room.shot.yaml";
  std::filesystem::path journal = workbench::Session::journal_of(file);

  [[nodiscard]] workbench::Session open() const {
    auto session = workbench::Session::open(file, plain_shot(), 2);
    if (!session) FAIL(session.error().line());
    return std::move(*session);
  }
  /// Written by a hand: with a comment that our writer would not make.
  std::string put_shot() const {
    ShotFile shot = plain_shot();
    shot.manual_ties = {tie_at(3)};
    std::string text = "# the blue room\n" + format_shot_file(shot);
    put_file(file, text);
    return text;
  }
};

}  // namespace seamwright::test
