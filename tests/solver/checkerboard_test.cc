// A real lens through the adjustment that learns bodies: the corners of
// tests/support/checkerboard.h.

#include "tests/support/checkerboard.h"

#include <array>
#include <cmath>
#include <fstream>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "solver/adjust.h"
#include "tests/support/shared_data.h"

namespace seamwright {
namespace {

using test::board_points;
using test::Corners;
using test::kPublishedRms_px;
using test::nominal_lens;
using test::ours_from;

// As tracks of a body of one lens that stood around the board in fifteen places.
// That they lie on a board, and where on it, it is not told: they are 48 points somewhere.
TEST_CASE("a real lens through the adjustment that learns bodies",
          "[lens][calibration][outside_data]") {
  const auto folder = test::shared_data("fisheye_checkerboard");
  const auto file = test::shared_data("fisheye_calibrations.json");
  if (!folder || !file) return;
  std::ifstream in(*file);
  std::vector<double> taylor;
  for (const auto& row : nlohmann::json::parse(in)) {
    if (row.contains("taylor")) taylor = row.at("taylor").get<std::vector<double>>();
  }
  REQUIRE(taylor.size() == 5);
  const std::vector<Corners> photographs = test::corners_of_photographs(*folder);
  Rig start;
  start.lenses = {{.lens = nominal_lens()}};
  std::vector<ShotState> shots;
  Quat world_from_board = Quat::Identity();
  Vec3 board_in_world = Vec3::Zero();
  for (const Corners& corners : photographs) {
    const std::array<double, 6> pose = test::first_pose(start.lenses[0].lens, corners);
    const Quat lens_from_board = quat_from_rotation_vector(Vec3(pose[0], pose[1], pose[2]));
    const Vec3 board_in_lens(pose[3], pose[4], pose[5]);
    if (shots.empty()) {
      world_from_board = lens_from_board;
      board_in_world = board_in_lens;
    }
    ShotState shot;
    shot.pose.network = 0;
    shot.pose.world_from_rig = world_from_board * lens_from_board.conjugate();
    shot.pose.position = board_in_world - shot.pose.world_from_rig * board_in_lens;
    shots.push_back(shot);
  }
  std::vector<Tie> ties(board_points().size());
  for (std::size_t corner = 0; corner < ties.size(); ++corner) {
    for (int shot = 0; shot < test::kPhotos; ++shot) {
      ties[corner].sights.push_back(
          {.px = ours_from(photographs[static_cast<std::size_t>(shot)][corner]),
           .covariance_px2 = kPublishedRms_px * kPublishedRms_px * Mat2::Identity(),
           .shot = shot == 0 ? kOwnShot : shot});
    }
  }
  const SharedTerms terms(1, [](int, int slot) { return slot <= kAspect; });
  const AdjustResult found =
      adjust(start, ties, shots, terms, std::nullopt,
             {.max_iterations = 200, .cost_tolerance = 1e-12, .robust_scale = 0});
  REQUIRE(found.stop == StopReason::converged);
  double squares = 0;
  for (std::size_t corner = 0; corner < ties.size(); ++corner) {
    for (std::size_t j = 0; j < ties[corner].sights.size(); ++j) {
      const auto off =
          sight_residual_px(found.rig, ties[corner], j, found.points[corner], found.shots);
      REQUIRE(off);
      squares += off->squaredNorm();
    }
  }
  const test::Rms rms = test::rms_of(squares, ties.size() * test::kPhotos);
  const Lens& lens = found.rig.lenses[0].lens;
  // The published polynomial: a ray of image radius r runs along (r, a0 + a2 r² + a3 r³ + a4 r⁴).
  double worst_px = 0;
  for (double r = 1; r <= 380; ++r) {
    const double theta =
        std::atan2(r, taylor[0] + r * r * (taylor[2] + r * (taylor[3] + r * taylor[4])));
    worst_px = std::max(worst_px, std::abs(lens.terms[kFocal] * lens.radius(theta) - r));
  }
  WARN(fmt::format(
      "{} steps, RMS {:.5f} px ({:.5f} a coordinate); radius at most {:.2f} px from the "
      "published curve, f {:.2f}, centre ({:.2f}, {:.2f})",
      found.iterations, rms.distance_px, rms.coordinate_px, worst_px, lens.terms[kFocal],
      lens.terms[kCentreU], lens.terms[kCentreV]));
  CHECK(rms.coordinate_px <= kPublishedRms_px);
  CHECK(worst_px <= 2);
}

}  // namespace
}  // namespace seamwright
