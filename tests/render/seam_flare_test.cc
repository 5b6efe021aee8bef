// What happens at the edge of one lens' picture must not reach the panorama: a circle that fades
// out before its rim, a crescent of stray light from a lamp just outside the field.

#include <algorithm>
#include <cmath>
#include <vector>

#include <catch2/catch.hpp>

#include "base/smooth_step.h"
#include "compose/render/render.h"
#include "tests/render/sphere_scene.h"

using namespace seamwright;

namespace {

// Adds to (or takes from) the light of one frame, by angle from the axis and around it.
template <class Spoil>
void spoil(Frame& frame, const MountedLens& mounted, Spoil change) {
  const Lens& lens = mounted.lens;
  for (int y = 0; y < frame.image.height(); ++y) {
    const auto row = frame.image.row<std::uint16_t>(y);
    for (int x = 0; x < frame.image.width(); ++x) {
      const auto ray = lens.unproject({x + 0.5, y + 0.5});
      if (!ray) continue;
      const double inward_deg = deg_from_rad(lens.theta_max_rad - std::acos(ray->z()));
      const double around_deg = deg_from_rad(std::atan2(ray->y(), ray->x()));
      for (int c = 0; c < 3; ++c) {
        std::uint16_t& code = row[static_cast<std::size_t>(3 * x + c)];
        const double light = change(srgb_to_linear(code / 65535.0), inward_deg, around_deg);
        code = static_cast<std::uint16_t>(
            std::lround(65535 * std::clamp(linear_to_srgb(light), 0.0, 1.0)));
      }
    }
  }
}

// Fades to black over the last 3 degrees of the field.
double faded(double light, double inward_deg, double) { return light * level_step(inward_deg / 3); }

// Half of white, 14 degrees deep at its middle: past the middle of an overlap of 20.
double flared(double light, double inward_deg, double around_deg) {
  const double depth_deg = 14 * std::exp(-std::pow((around_deg - 40) / 20, 2));
  return light + 0.5 * level_step((depth_deg - inward_deg) / 2);
}

struct Difference {
  double rms_codes = 0;  // of 8 bits, rows weighted by their share of the sphere
  double worst_codes = 0;
};

Difference flare_difference(const Image& one, const Image& other) {
  Difference result;
  double sum = 0, weights = 0;
  for (int y = 0; y < one.height(); ++y) {
    const double weight = std::sin(kPi * (y + 0.5) / one.height());
    for (int x = 0; x < one.width(); ++x) {
      for (int c = 0; c < 3; ++c) {
        const double codes =
            255 * std::abs(test::code_at(one, x, y, c) - test::code_at(other, x, y, c));
        sum += weight * codes * codes;
        weights += weight;
        result.worst_codes = std::max(result.worst_codes, codes);
      }
    }
  }
  result.rms_codes = std::sqrt(sum / weights);
  return result;
}

Image stitched(const Rig& rig, const std::vector<Frame>& frames, bool route) {
  const auto plan = plan_seams(rig, frames, {.route = route, .join = route});
  if (!plan) FAIL(plan.error().line());
  auto panorama = render_panorama(rig, frames, {.width_px = 640, .seams = &*plan});
  if (!panorama) FAIL(panorama.error().line());
  return std::move(panorama->image);
}

}  // namespace

TEST_CASE("Neither a soft rim nor a crescent of flare reaches the panorama", "[seam_plan]") {
  const Rig rig = test::small_body(52, 320);
  const std::vector<Frame> clean = test::shoot(rig, test::wavy_scene(14));
  const Image wanted = stitched(rig, clean, true);

  std::vector<Frame> soft = clean;
  spoil(soft[0], rig.lenses[0], faded);
  const Difference rim = flare_difference(stitched(rig, soft, true), wanted);
  CAPTURE(rim.rms_codes, rim.worst_codes);
  CHECK(rim.rms_codes < 0.25);

  std::vector<Frame> lit = clean;
  spoil(lit[0], rig.lenses[0], flared);
  const Difference crescent = flare_difference(stitched(rig, lit, true), wanted);
  const Difference unrouted =
      flare_difference(stitched(rig, lit, false), stitched(rig, clean, false));
  CAPTURE(crescent.rms_codes, crescent.worst_codes, unrouted.rms_codes, unrouted.worst_codes);
  CHECK(unrouted.worst_codes > 60);  // what there is to hide
  CHECK(crescent.rms_codes < 0.25);
  CHECK(crescent.worst_codes < 12);
}
