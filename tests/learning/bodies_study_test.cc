// Studies of learning cold from six stands of one room: many bodies, and what each kind of evidence
// adds. Half an hour each: left out unless asked for (test_learning "[study]").

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <iterator>
#include <optional>
#include <span>
#include <string>
#include <utility>
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

// "3" or "3-7" of the environment variable `name`; all of `count` where it is not set.
std::pair<int, int> part_asked_for(const char* name, int count) {
  const char* asked = std::getenv(name);
  if (asked == nullptr) return {0, count};
  const std::string text = asked;
  const auto dash = text.find('-');
  const int first = std::stoi(text);
  return {first, dash == std::string::npos ? first + 1 : std::stoi(text.substr(dash + 1)) + 1};
}

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
  const auto [begin, end] =
      part_asked_for("SEAMWRIGHT_STUDY_BODIES", static_cast<int>(std::size(draws)));
  std::uint64_t seed = 100 + static_cast<std::uint64_t>(begin);
  int within = 0;
  for (int i = begin; i < end; ++i) {
    const Draw& draw = draws[i];
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
  CHECK(within >= end - begin - 1);
}

// Are the sigmas true for bodies that the solver's prior did not draw: narrow and wide fields, low
// and high stands, stiff and loose bodies? Errors are those of the seam at infinity, against the
// mean mount that the frames saw.
TEST_CASE("twenty bodies that no prior drew: errors beside their sigmas", "[.][sigmas]") {
  constexpr int kBodies = 20;
  constexpr int kFrame_px = 800;
  constexpr LensCurve kCurves[] = {LensCurve::equidistant, LensCurve::equisolid,
                                   LensCurve::stereographic};
  const auto [begin, end] = part_asked_for("SEAMWRIGHT_STUDY_BODIES", kBodies);
  double normalised = 0;
  double of_headings = 0;
  int learned_bodies = 0;
  for (int i = begin; i < end; ++i) {
    const test::ScratchDir scratch;
    DemoOptions options;
    options.frame_px = kFrame_px;
    options.seed = 300 + static_cast<std::uint64_t>(i);
    options.body.curve = kCurves[i % 3];
    options.body.field_of_view_deg = 194 + 2.5 * ((7 * i) % 11);
    options.body.centre_shift = 0.02;
    options.body.mount_error_deg = 3;
    options.flex_rms_deg = 0.0125 * (i % 5);
    options.raise_m = -0.6 + 0.325 * ((3 * i) % 5);  // the stands are 1.5 m high
    options.only_shots = test::shots_of_room("library");
    const test::DemoTruth truth = test::render_and_forget(scratch.path(), options);
    std::vector<LearnShot> shots;
    for (const std::string& name : options.only_shots) {
      shots.push_back(test::shot_of(scratch.path() / "frames", name));
    }
    LearnOptions learning;
    learning.colour.fringes = false;
    const auto learned = learn_template(shots, learning);
    const std::string body =
        fmt::format("body {}: {} {:.1f} degrees, flex {:.4f} degrees, stands {:+.2f} m", i,
                    curve_name(options.body.curve), options.body.field_of_view_deg,
                    options.flex_rms_deg, options.raise_m);
    if (!learned) {
      WARN(body << ": " << learned.error().line());
      CHECK(learned);
      continue;
    }
    const Rig& rig = learned->rig_template.rig();
    const TermCovariance& covariance = learned->rig_template.solution.covariance;
    const SharedTerms terms = learned->solve.terms;
    const auto off = seam_misalignment(rig, truth.body, 0, 1, {.azimuths = 24, .colatitudes = 3});
    std::vector<RibbonAngles> directions;
    for (const SeamSample& sample : off) directions.push_back(sample.at);
    const auto claimed = expected_seam_error(rig, terms, covariance.values, 0, 1, directions);
    double squares = 0;
    double count = 0;
    for (std::size_t k = 0; k < off.size(); ++k) {
      if (claimed[k].parallax_px == 0) continue;
      squares += std::pow(off[k].parallax_px / claimed[k].parallax_px, 2) +
                 std::pow(off[k].sideways_px / claimed[k].sideways_px, 2);
      count += 2;
    }
    double heading = 0;
    std::string headings;
    const Quat from_world = truth.world_from_rig.at(options.only_shots[0]).conjugate();
    for (std::size_t s = 1; s < shots.size(); ++s) {
      const Quat turned = from_world * truth.world_from_rig.at(options.only_shots[s]);
      const Vec3 error = rotation_vector_from_quat(learned->solve.shots[s].pose.world_from_rig *
                                                   turned.conjugate());
      const double sigma = std::sqrt(learned->solve.pose_covariance[s](1, 1));
      heading += std::pow(error.y() / sigma, 2) / static_cast<double>(shots.size() - 1);
      headings += fmt::format(" {:+.1f}", error.y() / sigma);
    }
    const SeamSummary seam = *summarise(off);
    const SolutionQuality& quality = learned->rig_template.solution.quality;
    WARN(fmt::format(
        "{}: RMS {:.3f} px (parallax {:.3f}, sideways {:.3f}), claimed {:.3f}, {:.3f};"
        " normalised squared error of the seam {:.2f}, of headings {:.2f} ({} sigmas); flex "
        "found {:.4f} degrees",
        body, seam.rms_px, seam.parallax_rms_px, seam.sideways_rms_px,
        quality.expected_seam_parallax_px, quality.expected_seam_sideways_px, squares / count,
        heading, headings, deg_from_rad(quality.flex_sigma_rad)));
    normalised += squares / count;
    of_headings += heading;
    ++learned_bodies;
  }
  normalised /= std::max(1, learned_bodies);
  of_headings /= std::max(1, learned_bodies);
  WARN("normalised squared error over " << learned_bodies << " bodies: seam " << normalised
                                        << ", headings " << of_headings);
  if (learned_bodies < kBodies) return;
  CHECK(normalised > 0.7);
  CHECK(normalised < 1.4);
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
    std::optional<double> stand_height_m{};
  };
  const Row rows[] = {
      {"ring only", false, false, 0},
      {"ring, straight edges", false, true, 0},
      {"ring, tracks", true, false, 0},
      {"ring, tracks, straight edges", true, true, 0},
      {"ring, one far shot", false, false, 1},
      {"all, one far shot", true, true, 1},
      {"all, two far shots", true, true, 2},
      {"ring, stands measured", false, false, 0, 1.5},
      {"ring, one far shot, stands measured", false, false, 1, 1.5},
  };
  const auto [begin, end] =
      part_asked_for("SEAMWRIGHT_STUDY_ROWS", static_cast<int>(std::size(rows)));
  for (int i = begin; i < end; ++i) {
    const Row& row = rows[i];
    LearnOptions learning;
    learning.colour.fringes = false;
    learning.tracks.enabled = row.tracks;
    learning.lines.enabled = row.lines;
    learning.solving.stand_height_m = row.stand_height_m;
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
