#pragma once

// A random but valid shot file.

#include <filesystem>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "solver/shared_terms.h"
#include "templates/shot_file.h"
#include "tests/support/random.h"

namespace seamwright::test {

/// A step on every term, in the sizes that a touch has; angles are degrees that a file can hold.
[[nodiscard]] inline ShotTouch random_touch(Random& random, int lens_count) {
  ShotTouch touch;
  touch.names = SharedTerms(lens_count, [](int, int) { return true; }).names();
  for (const std::string& name : touch.names) {
    const double size = name.ends_with("_px") ? 0.5 : 1e-4;
    const double value = random.uniform(-size, size);
    touch.step.push_back(name.ends_with("_rad") ? rad_from_deg(deg_from_rad(value)) : value);
  }
  return touch;
}

[[nodiscard]] inline std::vector<SeamStroke> random_strokes(Random& random, int lens_count) {
  std::vector<SeamStroke> strokes;
  for (int k = random.integer(0, 3); k > 0; --k) {
    SeamStroke stroke{.wish = static_cast<StrokeWish>(random.integer(0, 2)),
                      .reach_rad = rad_from_deg(random.uniform(0.1, 20))};
    if (stroke.wish == StrokeWish::lens) stroke.lens = random.integer(0, lens_count - 1);
    for (int places = random.integer(1, 4); places > 0; --places) {
      stroke.path.push_back(
          {rad_from_deg(random.uniform(-180, 180)), rad_from_deg(random.uniform(-90, 90))});
    }
    strokes.push_back(stroke);
  }
  return strokes;
}

[[nodiscard]] inline std::vector<std::vector<BracketFrame>> random_brackets(
    Random& random, const std::vector<std::filesystem::path>& frames) {
  std::vector<std::vector<BracketFrame>> brackets;
  for (const auto& own : frames) {
    const bool said = random.integer(0, 1) == 1;
    std::vector<BracketFrame>& bracket = brackets.emplace_back();
    for (int k = random.integer(1, 5); k >= 0; --k) {
      const auto file =
          k == 0 ? own : std::filesystem::path(fmt::format("b/{} {}", k, own.filename().string()));
      bracket.push_back({.file = file, .ev = {}});
      if (said) bracket.back().ev = random.uniform(-9, 9);
    }
  }
  return brackets;
}

/// Angles as a person clicks them, most of them no short number of degrees.
[[nodiscard]] inline std::vector<UprightEdge> random_verticals(Random& random) {
  std::vector<UprightEdge> edges;
  for (int k = random.integer(0, 3); k > 0; --k) {
    UprightEdge edge;
    for (PanoramaPlace& end : edge.ends) {
      end = {rad_from_deg(random.uniform(-180, 180)), rad_from_deg(random.uniform(-80, 80))};
    }
    if (!edge.validate()) edges.push_back(edge);
  }
  return edges;
}

/// Anything that a shot file may hold.
[[nodiscard]] inline ShotFile random_shot(Random& random) {
  ShotFile shot;
  shot.intake.layout = static_cast<FrameLayout>(random.integer(0, 2));
  shot.intake.lens_count = random.integer(2, 8);
  const int files = shot.intake.layout == FrameLayout::one_per_file ? shot.intake.lens_count : 1;
  for (int i = 0; i < files; ++i) shot.frames.emplace_back(fmt::format("höhle/{} #{}.tif", i, i));
  if (random.integer(0, 1) == 1) {
    for (int i = 0; i < shot.intake.lens_count; ++i) {
      shot.intake.quarter_turns.push_back(random.integer(0, 3));
    }
  }
  shot.intake.mirrored = random.integer(0, 1) == 1;
  if (random.integer(0, 1) == 1) {
    shot.rig_template = TemplateReference{.file = "../t.yaml", .sha256 = {}};
    if (random.integer(0, 1) == 1) shot.rig_template->sha256 = std::string(64, 'f');
  }
  for (int k = random.integer(0, 5); k > 0; --k) {
    ManualTie tie{.range = static_cast<TieRange>(random.integer(0, 2)),
                  .sigma_px = random.uniform(0.1, 2),
                  .sights = {}};
    for (int lens = 0; lens < 2; ++lens) {
      tie.sights.push_back({lens, Vec2(random.uniform(0, 2000), random.uniform(0, 2000))});
    }
    shot.manual_ties.push_back(tie);
  }
  if (shot.rig_template && shot.rig_template->sha256) {
    shot.touch = random_touch(random, shot.intake.lens_count);
  }
  shot.seam = random_strokes(random, shot.intake.lens_count);
  if (random.integer(0, 1) == 1) shot.brackets = random_brackets(random, shot.frames);
  shot.verticals = random_verticals(random);
  return shot;
}

}  // namespace seamwright::test
