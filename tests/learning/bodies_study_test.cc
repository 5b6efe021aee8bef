// Studies of learning cold from six stands of one room: many bodies, and what each kind of evidence
// adds. Half an hour each: left out unless asked for (test_learning "[study]").

#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "apps/demo/demo.h"
#include "jobs/learning/learn.h"
#include "solver/seam_error.h"
#include "tests/learning/demo_frames.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {
namespace {

struct Draw {
  LensCurve curve;
  double field_of_view_deg;
  bool mirrored = false;
};

TEST_CASE("ten bodies, cold, six stands of one room", "[.][study]") {
  constexpr int kFrame_px = 1000;
  constexpr double to_2000 = 2000.0 / kFrame_px;
  const Draw draws[] = {
      {LensCurve::equidistant, 204},       {LensCurve::equisolid, 204},
      {LensCurve::stereographic, 204},     {LensCurve::equidistant, 195},
      {LensCurve::equisolid, 220},         {LensCurve::stereographic, 195},
      {LensCurve::equidistant, 220, true}, {LensCurve::equisolid, 195},
      {LensCurve::stereographic, 212},     {LensCurve::equidistant, 200, true},
  };
  std::uint64_t seed = 100;
  int within = 0;
  for (const Draw& draw : draws) {
    const test::ScratchDir scratch;
    DemoOptions options;
    options.frame_px = kFrame_px;
    options.seed = ++seed;
    options.mirrored = draw.mirrored;
    options.body.curve = draw.curve;
    options.body.field_of_view_deg = draw.field_of_view_deg;
    options.body.centre_shift = 0.02;
    options.body.mount_error_deg = 2;
    options.only_shots = test::shots_of_room("library");
    const test::DemoTruth truth = test::render_and_forget(scratch.path(), options);
    std::vector<LearnShot> shots;
    for (const std::string& name : options.only_shots) {
      shots.push_back(test::shot_of(scratch.path() / "frames", name));
    }
    LearnOptions learning;
    learning.mirrored = draw.mirrored;
    const auto learned = learn_template(shots, learning);
    const std::string body =
        fmt::format("seed {} {} {:.0f} degrees{}", seed, curve_name(draw.curve),
                    draw.field_of_view_deg, draw.mirrored ? ", mirrored" : "");
    if (!learned) {
      WARN(body << ": " << learned.error().line());
      CHECK(learned);
      continue;
    }
    const SeamSummary seam =
        summarise(seam_misalignment(learned->rig_template.rig(), truth.mean_mount, 0, 1)).value();
    const SolutionQuality& quality = learned->rig_template.solution.quality;
    WARN(fmt::format(
        "{}: RMS {:.3f} px of 2000² (parallax {:.3f}, sideways {:.3f}, largest {:.2f}); "
        "claimed {:.3f}, {:.3f}; spread {:.2f}, rounds {}",
        body, seam.rms_px * to_2000, seam.parallax_rms_px * to_2000, seam.sideways_rms_px * to_2000,
        seam.max_px * to_2000, quality.expected_seam_parallax_px * to_2000,
        quality.expected_seam_sideways_px * to_2000, quality.residual_spread, learned->rounds));
    within += seam.rms_px * to_2000 <= 0.3 ? 1 : 0;
  }
  CHECK(within >= 9);
}

TEST_CASE("what rings, straight edges, tracks and far shots each add", "[.][study]") {
  const test::ScratchDir scratch;
  DemoOptions options;
  options.frame_px = 2000;
  const std::vector<std::string> room = test::shots_of_room("library");
  options.only_shots = room;
  for (const std::string& name : test::shots_of_room("courtyard")) {
    options.only_shots.push_back(name);
  }
  const test::DemoTruth truth = test::render_and_forget(scratch.path(), options);
  std::vector<LearnShot> all;
  for (const std::string& name : options.only_shots) {
    all.push_back(test::shot_of(scratch.path() / "frames", name));
  }

  struct Row {
    const char* name;
    bool tracks;
    bool lines;
    std::size_t far_shots;
  };
  const Row rows[] = {
      {"ring only", false, false, 0},          {"ring, straight edges", false, true, 0},
      {"ring, tracks", true, false, 0},        {"ring, tracks, straight edges", true, true, 0},
      {"ring, one far shot", false, false, 1}, {"all, one far shot", true, true, 1},
      {"all, two far shots", true, true, 2},
  };
  for (const Row& row : rows) {
    LearnOptions learning;
    learning.colour.fringes = false;
    learning.tracks.enabled = row.tracks;
    learning.lines.enabled = row.lines;
    const auto learned =
        learn_template(std::span(all.data(), room.size() + row.far_shots), learning);
    REQUIRE(learned);
    const auto off = [&](const Rig& rig) {
      return summarise(seam_misalignment(learned->rig_template.rig(), rig, 0, 1)).value();
    };
    const SeamSummary body = off(truth.body);
    const SolutionQuality& quality = learned->rig_template.solution.quality;
    WARN(
        fmt::format("{}: RMS {:.3f} px (parallax {:.3f}, sideways {:.3f}, largest {:.2f}), {:.3f} "
                    "from the mean "
                    "mount; claimed parallax {:.3f}, sideways {:.3f}; {} rounds",
                    row.name, body.rms_px, body.parallax_rms_px, body.sideways_rms_px, body.max_px,
                    off(truth.mean_mount).rms_px, quality.expected_seam_parallax_px,
                    quality.expected_seam_sideways_px, learned->rounds));
  }
}

}  // namespace
}  // namespace seamwright
