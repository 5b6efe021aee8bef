// Where depth misleads: a mirror shows a room that is not there, a pane of glass two rooms at once,
// a plain wall none at all. Joined by depth they must be no worse than left alone.

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include <catch2/catch.hpp>

#include "base/parallel.h"
#include "compose/render/render.h"
#include "tests/features/scene.h"
#include "tests/render/sphere_scene.h"
#include "tests/support/ring_patches.h"

using namespace seamwright;

namespace {

/// A box room, its floor and ceiling plain; a framed mirror 0.8 m to the right of the rig, a pane
/// of glass 1 m to the left that reflects a quarter of the light.
class HallOfGlass {
 public:
  /// Linear light that comes to `origin` from a direction.
  [[nodiscard]] double light(const Vec3& origin, const Vec3& direction) const {
    const Vec3 at_mirror = crossing(origin, direction, kMirror_m);
    if (direction.x() > 0 && inside(at_mirror, kMirrorHalf_m + kFrame_m)) {
      if (!inside(at_mirror, kMirrorHalf_m)) return 0.08;
      return 0.9 * wall_light(at_mirror, turned_back(direction));
    }
    const Vec3 at_pane = crossing(origin, direction, -kPane_m);
    if (direction.x() < 0 && inside(at_pane, kPaneHalf_m)) {
      return 0.75 * wall_light(origin, direction) +
             0.25 * wall_light(at_pane, turned_back(direction));
    }
    return wall_light(origin, direction);
  }

 private:
  static constexpr double kMirror_m = 0.8;
  static constexpr double kMirrorHalf_m = 0.45;
  static constexpr double kFrame_m = 0.05;
  static constexpr double kPane_m = 1.0;
  static constexpr double kPaneHalf_m = 0.6;

  static Vec3 crossing(const Vec3& origin, const Vec3& direction, double x_m) {
    return origin + (x_m - origin.x()) / direction.x() * direction;
  }
  static bool inside(const Vec3& point, double half_m) {
    return std::abs(point.y()) < half_m && std::abs(point.z()) < half_m;
  }
  static Vec3 turned_back(const Vec3& direction) {
    return {-direction.x(), direction.y(), direction.z()};
  }
  [[nodiscard]] double wall_light(const Vec3& origin, const Vec3& direction) const {
    const Vec3 point = walls_.hit(origin, direction);
    if (std::abs(point.y() + 0.1) > 1.299) return 0.5 + 0.03 * point.x();  // floor and ceiling
    const double code = walls_.brightness(point);
    return code * code;
  }

  test::Scene walls_{{.grain_m = 0.05}};
};

// Means of 2 × 2 rays a pixel, as 16-bit sRGB.
template <class Ray>
Image traced(const HallOfGlass& hall, int width, int height, Ray ray_of) {
  Image image(width, height, Channels::rgb, SampleType::u16);
  image.transfer = Transfer::srgb;
  parallel_for(0, height, [&](int y) {
    for (int x = 0; x < width; ++x) {
      double sum = 0;
      int count = 0;
      for (int k = 0; k < 4; ++k) {
        const auto ray = ray_of(Vec2(x + 0.25 + 0.5 * (k % 2), y + 0.25 + 0.5 * (k / 2)));
        if (!ray) continue;
        sum += hall.light(ray->first, ray->second);
        ++count;
      }
      for (int c = 0; c < 3 && count > 0; ++c) {
        test::put_sample(image, x, y, c, linear_to_srgb(sum / count));
      }
    }
  });
  return image;
}

using Ray = std::pair<Vec3, Vec3>;

std::vector<Frame> photographed(const HallOfGlass& hall, const Rig& rig) {
  std::vector<Frame> frames;
  for (const MountedLens& mounted : rig.lenses) {
    Frame frame;
    frame.info.file = "lens" + std::to_string(frames.size()) + ".tif";
    frame.image = traced(hall, mounted.lens.width_px, mounted.lens.height_px,
                         [&](const Vec2& px) -> std::optional<Ray> {
                           const auto direction = mounted.direction_in_rig(px);
                           if (!direction) return std::nullopt;
                           return Ray{mounted.ray_origin_in_rig(*direction), *direction};
                         });
    frames.push_back(std::move(frame));
  }
  return frames;
}

// Mean score and share of broken patches of the ring whose direction lies in a sector.
struct Sector {
  int patches = 0;
  double mean_score = 0;
  int broken = 0;
};

Sector sector_of(const test::RingPatches& ring, const RibbonAxes& axes, const Vec3& towards,
                 double half_deg) {
  Sector sector;
  for (const test::RingPatch& patch : ring.textured) {
    const Vec3 direction = axes.direction({patch.psi_rad, 0.5 * kPi});
    if (direction.dot(towards) < std::cos(rad_from_deg(half_deg))) continue;
    ++sector.patches;
    sector.mean_score += patch.score;
    sector.broken += patch.score < 0.85 ? 1 : 0;
  }
  sector.mean_score /= std::max(1, sector.patches);
  return sector;
}

// RMS difference of code values in a cone, white 255.
double difference(const Image& one, const Image& other, const Vec3& towards, double half_deg) {
  const Equirect raster{one.width(), one.height()};
  double sum = 0;
  int count = 0;
  for (int y = 0; y < one.height(); ++y) {
    for (int x = 0; x < one.width(); ++x) {
      const Vec3 direction = raster.direction({x + 0.5, y + 0.5});
      if (direction.dot(towards) < std::cos(rad_from_deg(half_deg))) continue;
      sum += std::pow(255 * (test::code_at(one, x, y, 1) - test::code_at(other, x, y, 1)), 2);
      ++count;
    }
  }
  return std::sqrt(sum / count);
}

}  // namespace

TEST_CASE("Mirrors, glass and plain walls are no worse joined by depth than left alone",
          "[seam_plan]") {
  const HallOfGlass hall;
  test::RigOptions options;
  options.width_px = options.height_px = 900;
  options.fringe_spread = 0;
  options.vignetting = 0;
  const Rig rig = test::random_rig(71, options);
  const auto frames = photographed(hall, rig);
  constexpr int kWidth = 2048;
  const Equirect raster{kWidth, kWidth / 2};
  const Image ideal = traced(hall, kWidth, kWidth / 2, [&](const Vec2& px) -> std::optional<Ray> {
    return Ray{Vec3::Zero(), raster.direction(px)};
  });
  const auto plan = plan_seams(rig, frames, {});
  if (!plan) FAIL(plan.error().line());
  const auto rendered = [&](const SeamPlan* seams) {
    auto panorama = render_panorama(rig, frames, {.width_px = kWidth, .seams = seams});
    if (!panorama) FAIL(panorama.error().line());
    return std::move(panorama->image);
  };
  const Image plain = rendered(nullptr);
  const Image joined = rendered(&*plan);
  const RibbonAxes axes = RibbonAxes::of_pair(rig, 0, 1);
  const test::RingPatchOptions patches{.ring_px = 2048,
                                       .patch_px = 24,
                                       .spacing_px = 12,
                                       .reach_parallax_px = 16,
                                       .reach_sideways_px = 2};
  const auto of_plain = test::compare_ring(plain, ideal, axes, patches);
  const auto of_joined = test::compare_ring(joined, ideal, axes, patches);
  for (const auto& [name, towards] :
       {std::pair{"mirror", Vec3(1, 0, 0)}, {"glass", Vec3(-1, 0, 0)}}) {
    const Sector before = sector_of(of_plain, axes, towards, 30);
    const Sector after = sector_of(of_joined, axes, towards, 30);
    CAPTURE(name, before.patches, before.mean_score, before.broken, after.mean_score, after.broken);
    REQUIRE(before.patches > 10);
    CHECK(after.mean_score >= before.mean_score);
    CHECK(after.broken <= before.broken);
  }
  // Straight up there is nothing but shading.
  const double left_alone = difference(plain, ideal, -Vec3::UnitY(), 20);
  const double by_depth = difference(joined, ideal, -Vec3::UnitY(), 20);
  CAPTURE(left_alone, by_depth);
  CHECK(by_depth < left_alone + 0.25);
}
