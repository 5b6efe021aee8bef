// A step of exposure and colour between the lenses must not show on plain walls.

#include <algorithm>
#include <cmath>
#include <vector>

#include <catch2/catch.hpp>

#include "compose/render/render.h"
#include "imaging/delta_e2000.h"
#include "tests/render/sphere_scene.h"

using namespace seamwright;

namespace {

// A cream wall, lit a little from one side.
test::Colour wall(const Vec3& d) {
  const double light = 0.42 * (1 + 0.1 * d.y() + 0.08 * d.z());
  return {1.08 * light, light, 0.8 * light};
}

// Lens 1 is half a stop brighter and warmer, and stray light makes that uneven around the ring.
std::vector<Frame> uneven_shot(const Rig& rig) {
  std::vector<Frame> frames = test::shoot(rig, wall);
  const auto brighter = [](const Vec3& d) {
    const double gain = std::exp2(0.5 + 0.12 * d.y());
    const test::Colour light = wall(d);
    return test::Colour{1.05 * gain * light[0], gain * light[1], 0.93 * gain * light[2]};
  };
  frames[1] = test::shoot(rig, brighter)[1];
  return frames;
}

Lab colour_at(const Image& panorama, const Vec3& direction) {
  const Equirect raster{panorama.width(), panorama.height()};
  const Vec2 px = raster.position(direction);
  const int x = std::min(panorama.width() - 1, static_cast<int>(px.x()));
  const int y = std::min(panorama.height() - 1, static_cast<int>(px.y()));
  std::array<double, 3> light{};
  for (int c = 0; c < 3; ++c) {
    light[static_cast<std::size_t>(c)] = srgb_to_linear(test::code_at(panorama, x, y, c));
  }
  return lab_from_linear_srgb(light);
}

// Differences between two places of the wall `apart_deg` to both sides of the seam.
std::vector<double> differences(const Image& panorama, const PairSeam& pair, double apart_deg) {
  const RibbonGrid& grid = pair.warp.grid;
  std::vector<double> found;
  for (int x = 0; x < grid.width_px; ++x) {
    const double row = pair.path.row_px[static_cast<std::size_t>(x)];
    const double apart_px = rad_from_deg(apart_deg) * grid.px_per_rad;
    found.push_back(delta_e2000(colour_at(panorama, grid.direction({x + 0.5, row - apart_px})),
                                colour_at(panorama, grid.direction({x + 0.5, row + apart_px}))));
  }
  std::sort(found.begin(), found.end());
  return found;
}

}  // namespace

TEST_CASE("A step of exposure and colour does not show on a plain wall", "[seam_plan]") {
  const Rig rig = test::small_body(52, 320);
  const auto frames = uneven_shot(rig);
  const auto stitched = [&](const SeamOptions& options) {
    const auto plan = plan_seams(rig, frames, options);
    if (!plan) FAIL(plan.error().line());
    REQUIRE(plan->pairs.size() == 1);
    const auto panorama = render_panorama(
        rig, frames, {.width_px = 640, .gain_match = options.gain_match, .seams = &*plan});
    if (!panorama) FAIL(panorama.error().line());
    return differences(panorama->image, plan->pairs[0], 1.5);
  };
  const auto median = [](const std::vector<double>& sorted) { return sorted[sorted.size() / 2]; };
  const auto untouched = stitched({.gain_match = false, .join = false});
  const auto joined = stitched({});
  CAPTURE(median(untouched), median(joined), joined[joined.size() * 95 / 100]);
  CHECK(median(untouched) > 5);  // what there is to hide
  CHECK(median(joined) < 1);
  CHECK(joined[joined.size() * 95 / 100] < 2);
}
