#include "jobs/shot/stitch_findings.h"

#include <string>
#include <utility>
#include <vector>

#include <catch2/catch.hpp>

using namespace seamwright;

namespace {

// A ribbon around the level axis ahead, with places torn in its middle row.
SeamPlan torn_at(const std::vector<std::pair<Vec3, double>>& places) {
  const RibbonGrid grid{.axes = RibbonAxes(Vec3::UnitZ()),
                        .eta_begin_rad = 0.5 * kPi - 0.1,
                        .px_per_rad = 100,
                        .width_px = 628,
                        .height_px = 20,
                        .closed = true};
  SeamPlan plan;
  plan.pairs.push_back({.warp = {grid, 0, 0, 1, {}, {}, {}, {}, {}, {}}});
  for (const auto& [direction, torn] : places) {
    plan.pairs[0].torn.push_back({.middle_px = grid.position(direction), .torn = torn});
  }
  return plan;
}

std::vector<std::string> said(const SeamPlan& plan, double cover_deg = 0) {
  std::vector<std::string> findings, notes;
  add_seam_findings(plan, Quat::Identity(), cover_deg, findings, notes);
  return findings;
}

const Vec3 kToRight = Vec3::UnitX();
const Vec3 kToLeft = -Vec3::UnitX();
const Vec3 kDown = Vec3::UnitY();
const Vec3 kSteeply = Vec3(0.35, 1, 0).normalized();  // 19 degrees from straight down

}  // namespace

TEST_CASE("What is torn is told in one line, the worst first", "[stitch_findings]") {
  CHECK(said(torn_at({})).empty());
  const auto lines = said(torn_at({{kToLeft, 9}, {kToRight, 20}}));
  REQUIRE(lines.size() == 1);
  CHECK(lines[0].find("the joined picture is torn at longitude 90, latitude") == 0);
  CHECK(lines[0].find("; longitude -90, latitude") != std::string::npos);
  const auto many = said(torn_at(std::vector(7, std::pair(kToRight, 9.0))));
  REQUIRE(many.size() == 1);
  CHECK(many[0].find("; 3 more; ") != std::string::npos);
}

TEST_CASE("What is torn at the stand or under its cover is not told", "[stitch_findings]") {
  CHECK(said(torn_at({{kDown, 90}})).empty());
  CHECK(said(torn_at({{kSteeply, 90}})).size() == 1);
  CHECK(said(torn_at({{kSteeply, 90}}), 25).empty());
}
