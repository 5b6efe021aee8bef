#include "apps/demo/camera.h"

#include <catch2/catch.hpp>

#include "apps/demo/demo.h"
#include "tests/support/matchers.h"
#include "tests/support/random.h"

using namespace seamwright;
using namespace seamwright::demo;

namespace {

Vec3 to_double(const Float3& v) { return {v.x, v.y, v.z}; }

Pose pose_at(const DemoShot& shot) { return {shot.world_from_rig(), shot.position}; }

}  // namespace

TEST_CASE("interpolated rays are the lens' own within 1e-3 px") {
  CAPTURE(test::seed());
  test::Random random(21);
  const DemoShot shot = demo_shots().front();
  for (const auto curve :
       {LensCurve::equidistant, LensCurve::equisolid, LensCurve::stereographic}) {
    for (const int frame_px : {200, 2000}) {
      const auto rig = demo_body(4, frame_px, {.curve = curve, .pupil_travel_m = 0.0008});
      REQUIRE(rig.has_value());
      for (const MountedLens& mounted : rig->lenses) {
        const LensCamera camera(mounted, pose_at(shot), 1);
        int inside = 0;
        double worst_px = 0;
        for (int i = 0; i < 1500; ++i) {
          const Vec2 px(random.uniform(0, frame_px), random.uniform(0, frame_px));
          CameraRay ray[1];
          camera.cast({.v_px = px.y(), .first_px = px.x(), .step_px = 1}, ray);
          const auto exact = mounted.direction_in_rig(px);
          if (!exact) {
            CHECK(ray[0].weight < 1);
            continue;
          }
          ++inside;
          REQUIRE(ray[0].weight == 1.0F);
          const Vec3 in_rig = shot.world_from_rig().conjugate() * to_double(ray[0].ray.direction);
          if (const auto back = mounted.project_direction(in_rig)) {
            worst_px = std::max(worst_px, (*back - px).norm());
          }
          const Vec3 origin =
              shot.position + shot.world_from_rig() * mounted.ray_origin_in_rig(*exact);
          // Single precision a few metres from the world's origin.
          CHECK((to_double(ray[0].ray.origin) - origin).norm() < 1e-6);
        }
        CAPTURE(curve_name(curve), frame_px);
        CHECK(inside > 900);
        CHECK(worst_px < 1e-3);
      }
    }
  }
}

TEST_CASE("jittered rays stay inside their cell and repeat") {
  const auto rig = demo_body(4, 400);
  REQUIRE(rig.has_value());
  const DemoShot shot = demo_shots().front();
  const LensCamera camera(rig->lenses[0], pose_at(shot), 77);
  const RowPoints row{.v_px = 200.25, .first_px = 100.25, .step_px = 0.5, .half_jitter_px = 0.25};
  std::vector<CameraRay> first(200);
  std::vector<CameraRay> again(200);
  camera.cast(row, first);
  camera.cast(row, again);
  double spread = 0;
  Vec2 mean = Vec2::Zero();
  for (std::size_t i = 0; i < first.size(); ++i) {
    CHECK(first[i].ray.direction.x == again[i].ray.direction.x);
    const Vec3 in_rig = shot.world_from_rig().conjugate() * to_double(first[i].ray.direction);
    const auto px = rig->lenses[0].project_direction(in_rig);
    REQUIRE(px.has_value());
    const Vec2 off = *px - Vec2(100.25 + 0.5 * static_cast<double>(i), 200.25);
    CHECK(off.cwiseAbs().maxCoeff() < 0.2505);
    spread = std::max(spread, off.norm());
    mean += off / static_cast<double>(first.size());
  }
  CHECK(spread > 0.2);
  // Standard error of the mean of 200 uniforms in ±0.25 is 0.0102; four times that.
  CHECK(mean.cwiseAbs().maxCoeff() < 0.041);
}

TEST_CASE("a point seen through a pixel projects back to that pixel") {
  const DemoScene scene;
  CAPTURE(test::seed());
  test::Random random(22);
  int closed = 0;
  const auto body = demo_body(9, 2000, {.pupil_travel_m = 0.0006});
  REQUIRE(body.has_value());
  const std::vector<DemoShot> shots = demo_shots();
  for (std::size_t k = 0; k < shots.size(); k += 3) {
    const DemoShot& shot = shots[k];
    const Rig rig = demo_shot_rig(*body, 9, shot.name, 0.02);
    for (const MountedLens& mounted : rig.lenses) {
      const LensCamera camera(mounted, pose_at(shot), 5);
      for (int i = 0; i < 150; ++i) {
        const Vec2 px(random.uniform(100, 1900), random.uniform(100, 1900));
        CameraRay ray[1];
        camera.cast({.v_px = px.y(), .first_px = px.x(), .step_px = 1}, ray);
        if (ray[0].weight < 1) {
          continue;
        }
        const Quat rig_from_world = shot.world_from_rig().conjugate();
        const Vec3 origin = rig_from_world * (to_double(ray[0].ray.origin) - shot.position);
        const Vec3 direction = rig_from_world * to_double(ray[0].ray.direction);
        const double t = scene.distance_m(shot, origin, direction);
        const Vec3 point = origin + (std::isinf(t) ? 1e9 : t) * direction;
        const auto back = mounted.project_point(point.normalized(), 1.0 / point.norm());
        if (!back) {
          continue;  // at the very rim
        }
        CAPTURE(shot.name, px.x(), px.y(), t);
        CHECK_THAT(*back, test::near_pixel(px, 0.02));
        ++closed;
      }
    }
  }
  CHECK(closed > 900);
}

TEST_CASE("the panorama camera looks where the panorama's pixels say") {
  const DemoShot shot = demo_shots()[3];
  const Equirect raster{400, 200};
  const PanoramaCamera camera(raster, {0.01, 0, 0}, pose_at(shot), 3);
  CameraRay ray[1];
  camera.cast({.v_px = 120.5, .first_px = 33.5, .step_px = 1}, ray);
  const Vec3 in_rig = shot.world_from_rig().conjugate() * to_double(ray[0].ray.direction);
  CHECK_THAT(in_rig, test::same_direction(raster.direction({33.5, 120.5}), 1e-6));
  const Vec3 origin = shot.position + shot.world_from_rig() * Vec3(0.01, 0, 0);
  CHECK((to_double(ray[0].ray.origin) - origin).norm() < 1e-6);
}
