#include "compose/render/seam_plan.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <cstring>
#include <optional>
#include <vector>

#include <catch2/catch.hpp>

#include "base/parallel.h"
#include "compose/render/meeting_pairs.h"
#include "compose/render/render.h"
#include "tests/render/sphere_scene.h"
#include "tests/seams/board_room.h"

using namespace seamwright;
using test::Board;
using test::BoardRoom;

namespace {

using Pairs = std::vector<std::pair<int, int>>;

std::vector<Frame> photographed_room(const BoardRoom& room, const Rig& rig) {
  std::vector<Frame> frames;
  for (const MountedLens& lens : rig.lenses) {
    Frame frame;
    frame.info.file = "lens" + std::to_string(frames.size()) + ".tif";
    const double least_theta = rig.lens_count() == 2 ? rad_from_deg(70) : 0;
    frame.image =
        test::photograph(room, lens, {.stream = frames.size() + 5, .least_theta_rad = least_theta});
    frame.image.transfer = Transfer::srgb;
    frames.push_back(std::move(frame));
  }
  return frames;
}

Rig planned_body(int lens_count, int size_px) {
  test::RigOptions options;
  options.lens_count = lens_count;
  options.width_px = options.height_px = size_px;
  options.centre_spread_px = 3;
  options.fringe_spread = 0;
  options.vignetting = 0;
  if (lens_count > 2) options.baseline_m = 0.04;
  return test::random_rig(33, options);
}

SeamPlan plan_of(const Rig& rig, const std::vector<Frame>& frames, bool keep_views = false) {
  auto plan = plan_seams(rig, frames, {.keep_views = keep_views});
  if (!plan) FAIL(plan.error().line());
  return std::move(*plan);
}

Panorama render_planned(const Rig& rig, const std::vector<Frame>& frames,
                        const RenderOptions& options) {
  auto panorama = render_panorama(rig, frames, options);
  if (!panorama) FAIL(panorama.error().line());
  return std::move(*panorama);
}

// Mean difference of light between both lenses, over the band around the middle of the overlap in
// which the walk is whole.
double disagreement(const PairSeam& pair, const SeamViews& views) {
  double sum = 0;
  int count = 0;
  const int height = views.light_a.height();
  for (int y = height * 2 / 5; y < height * 3 / 5; ++y) {
    for (int x = 0; x < views.light_a.width(); ++x) {
      const auto i = static_cast<std::size_t>(x);
      if (pair.warp.strength[i] < 0.99F) continue;
      if (state_at(views.state_a, x, y) != ViewState::good) continue;
      if (state_at(views.state_b, x, y) != ViewState::good) continue;
      sum += std::abs(static_cast<double>(views.light_a.row<float>(y)[3 * i + 1]) -
                      static_cast<double>(views.light_b.row<float>(y)[3 * i + 1]));
      ++count;
    }
  }
  REQUIRE(count > 500);
  return sum / count;
}

const BoardRoom& boards() {
  static const BoardRoom room({{.middle = {0.7, 0.1, 0.02}, .half_wide_m = 0.15},
                               {.middle = {-0.6, 0.02, -0.02}, .half_wide_m = 0.12},
                               {.middle = {0.05, -0.5, 0}, .half_wide_m = 0.1, .half_high_m = 0.1},
                               {.middle = {0.6, 0, 0.6}, .half_wide_m = 0.2},
                               {.middle = {-0.5, 0.1, 0.5}, .half_wide_m = 0.2}});
  return room;
}

}  // namespace

TEST_CASE("lenses meet their neighbours", "[seam_plan]") {
  CHECK(meeting_pairs(planned_body(2, 100)) == Pairs{{0, 1}});
  CHECK(meeting_pairs(planned_body(4, 100)) == Pairs{{0, 1}, {0, 3}, {1, 2}, {2, 3}});
  CHECK(meeting_pairs(planned_body(6, 100)) ==
        Pairs{{0, 1}, {0, 5}, {1, 2}, {2, 3}, {3, 4}, {4, 5}});
}

TEST_CASE("near boards join at every seam of two, four and six lenses", "[seam_plan]") {
  const int lens_count = GENERATE(2, 4, 6);
  CAPTURE(lens_count);
  const Rig rig = planned_body(lens_count, 300);
  const auto frames = photographed_room(boards(), rig);
  const SeamPlan plan = plan_of(rig, frames, true);
  REQUIRE(plan.pairs.size() == (lens_count == 2 ? 1U : static_cast<std::size_t>(lens_count)));
  for (const PairSeam& pair : plan.pairs) {
    CAPTURE(pair.lens_a, pair.lens_b);
    const double plain = disagreement(pair, *pair.unwarped);
    const double warped = disagreement(pair, *pair.views);
    CAPTURE(plain, warped);
    CHECK(warped < 0.5 * plain);
  }
  const Panorama panorama = render_planned(rig, frames, {.width_px = 512, .seams = &plan});
  CHECK(panorama.report.unseen_px == 0);
}

TEST_CASE("what is far stays where it was", "[seam_plan]") {
  const auto scene = test::wavy_scene(20);
  const Rig rig = test::small_body(41, 300);
  const auto frames = test::shoot(rig, scene);
  const SeamPlan plan = plan_of(rig, frames);
  const Panorama panorama = render_planned(rig, frames, {.width_px = 480, .seams = &plan});
  const double psnr = test::psnr_db(panorama.image, scene);
  CAPTURE(psnr);
  CHECK(psnr > 50);
}

TEST_CASE("a plan and its panorama do not depend on the number of threads", "[seam_plan]") {
  const Rig rig = planned_body(2, 300);
  const auto frames = photographed_room(boards(), rig);
  REQUIRE(plan_of(rig, frames).pairs.size() == 1);
  std::vector<Image> pictures;
  for (const int threads : {1, 2}) {
    const ThreadLimit limit(threads);
    const SeamPlan plan = plan_of(rig, frames);
    for (const int band_rows : {16, 4000}) {
      pictures.push_back(
          render_planned(rig, frames, {.width_px = 400, .band_rows = band_rows, .seams = &plan})
              .image);
    }
  }
  REQUIRE(pictures.size() == 4);
  for (const Image& picture : pictures) {
    CHECK(std::memcmp(picture.bytes().data(), pictures[0].bytes().data(), picture.bytes().size()) ==
          0);
  }
}

TEST_CASE("outside the overlap a planned panorama is the plain one", "[seam_plan]") {
  const Rig rig = planned_body(2, 300);
  const auto frames = photographed_room(boards(), rig);
  const SeamPlan plan = plan_of(rig, frames);
  const Panorama plain = render_planned(rig, frames, {.width_px = 400});
  const Panorama planned = render_planned(rig, frames, {.width_px = 400, .seams = &plan});
  REQUIRE(plan.pairs.size() == 1);
  const RibbonGrid& grid = plan.pairs[0].warp.grid;
  const Equirect raster{400, 200};
  int compared = 0;
  int differ_inside = 0;
  for (int y = 0; y < 200; ++y) {
    for (int x = 0; x < 400; ++x) {
      const double row = grid.position(raster.direction({x + 0.5, y + 0.5})).y();
      // Cells beside the ribbon are located pixel by pixel, not interpolated to 0.02 px as in the
      // plain one: at an edge that is 2 % of its contrast.
      const double difference =
          std::abs(test::code_at(plain.image, x, y, 1) - test::code_at(planned.image, x, y, 1));
      const bool same = difference < 0.02;
      if (row < -1 || row > grid.height_px + 1) {
        ++compared;
        if (!same) FAIL_CHECK("differs at " << x << ", " << y);
      } else {
        differ_inside += same ? 0 : 1;
      }
    }
  }
  CHECK(compared > 20000);
  CHECK(differ_inside > 1000);
}

TEST_CASE("a lens without parallax to its neighbour is left alone", "[seam_plan]") {
  Rig rig = planned_body(2, 160);
  for (MountedLens& lens : rig.lenses) lens.pupil = Vec3::Zero();
  const auto frames = test::shoot(rig, test::wavy_scene(6));
  const SeamPlan plan = plan_of(rig, frames);
  CHECK(plan.pairs.empty());
  CHECK(plan.gains.gains.size() == 2);
}

TEST_CASE("planning can be stopped and refuses what rendering refuses", "[seam_plan]") {
  const Rig rig = planned_body(2, 160);
  const auto frames = test::shoot(rig, test::wavy_scene(6));
  const auto stopped = plan_seams(rig, frames, {}, [](const Progress&) { return false; });
  REQUIRE_FALSE(stopped);
  CHECK(stopped.error().kind == ErrorKind::cancelled);
  const auto one = plan_seams(rig, std::vector<Frame>{frames[0]});
  REQUIRE_FALSE(one);
  CHECK(one.error().field == "frames");
  SeamOptions options;
  options.depth.step_px = 9;
  const auto bad = plan_seams(rig, frames, options);
  REQUIRE_FALSE(bad);
  CHECK_THAT(bad.error().line(), Catch::Contains("step_px"));
}
