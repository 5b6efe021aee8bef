// The equidistant base with its radial terms against OpenCV's cv::fisheye, an independent
// implementation of Kannala & Brandt 2006 (PAMI 28:1335–1340), on published calibrations.
//
// OpenCV's camera matrix counts pixels from the centre of the first one (ours from its corner, so
// + 0.5), and its alpha shears by fx · alpha = f · shear. It works on (x/z, y/z) and therefore
// fails from 90° on, where it silently gives the picture of the mirrored direction; the comparison
// runs to just under 90° and the last test pins that this is so.

#include <algorithm>
#include <array>
#include <cmath>
#include <fstream>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <opencv2/calib3d.hpp>

#include "projection/lens.h"
#include "tests/support/matchers.h"
#include "tests/support/random_geometry.h"
#include "tests/support/shared_data.h"

namespace seamwright {

using test::Random;
using test::random_direction_within;
using test::same_direction;
using test::seed;
using test::shared_data;

namespace {

struct OpenCvFisheye {
  double fx = 0, fy = 0, cx = 0, cy = 0, alpha = 0;
  std::array<double, 4> k{};
  int width_px = 0, height_px = 0;

  [[nodiscard]] Vec2 project(const Vec3& direction) const {
    const std::vector<cv::Point3d> points = {{direction.x(), direction.y(), direction.z()}};
    const cv::Matx33d camera(fx, 0, cx, 0, fy, cy, 0, 0, 1);
    std::vector<cv::Point2d> projected;
    cv::fisheye::projectPoints(points, projected, cv::Vec3d(), cv::Vec3d(), camera,
                               cv::Vec4d(k[0], k[1], k[2], k[3]), alpha);
    return {projected[0].x, projected[0].y};
  }
};

Lens lens_of(const OpenCvFisheye& camera, double theta_max_rad) {
  Lens lens;
  lens.terms[kFocal] = camera.fy;
  lens.terms[kAspect] = camera.fx / camera.fy - 1;
  lens.terms[kShear] = camera.alpha * camera.fx / camera.fy;
  lens.terms[kCentreU] = camera.cx + 0.5;
  lens.terms[kCentreV] = camera.cy + 0.5;
  for (std::size_t i = 0; i < 4; ++i) lens.terms[kRadial1 + i] = camera.k[i];
  lens.width_px = camera.width_px;
  lens.height_px = camera.height_px;
  lens.theta_max_rad = theta_max_rad;
  return lens;
}

// OpenCV, modules/calib3d/test/test_fisheye.cpp: the result of calibrating with 34 images.
OpenCvFisheye published_34_images() {
  return {
      .fx = 558.478087865323,
      .fy = 560.506767351568,
      .cx = 620.458515360843,
      .cy = 381.939424848348,
      .k = {-0.0014613319981768, -0.00329861110580401, 0.00605760088590183, -0.00374209380722371},
      .width_px = 1280,
      .height_px = 800};
}

// Half the field of view in which our model of the camera is still monotonic, at most 89.99°.
double comparable_rad(const OpenCvFisheye& camera) {
  return std::min(rad_from_deg(89.99), lens_of(camera, 1).fold_angle_rad() - 1e-6);
}

double worst_difference_px(const OpenCvFisheye& camera, Random& random, int count) {
  const Lens lens = lens_of(camera, comparable_rad(camera));
  REQUIRE_FALSE(lens.validate());
  double worst_px = 0;
  for (int i = 0; i < count; ++i) {
    const Vec3 direction = random_direction_within(random, lens.theta_max_rad);
    const auto ours = lens.project(direction);
    REQUIRE(ours);
    const Vec2 theirs = camera.project(direction) + Vec2(0.5, 0.5);
    worst_px = std::max(worst_px, (*ours - theirs).norm());
  }
  return worst_px;
}

}  // namespace

TEST_CASE("the published 34-image calibration: radius at 60 degrees", "[lens][kannala_brandt]") {
  // θ_d at θ = 60°, computed from the published coefficients outside of this program.
  const Lens lens = lens_of(published_34_images(), rad_from_deg(80));
  CHECK(lens.radius(rad_from_deg(60)) == Approx(1.044063739).margin(5e-10));
}

TEST_CASE("the published 34-image calibration projects as in OpenCV", "[lens][kannala_brandt]") {
  CAPTURE(seed());
  Random random(11);
  CHECK(worst_difference_px(published_34_images(), random, 5000) <= 1e-9);
  // On and around the axis, where their implementation takes a branch of its own.
  const Lens lens = lens_of(published_34_images(), rad_from_deg(80));
  for (const double off : {0.0, 1e-15, 1e-12, 1e-10, 1e-8, 1e-6, 1e-4}) {
    const Vec3 direction(0.6 * off, -0.8 * off, 1);
    CHECK((lens.project(direction).value() - published_34_images().project(direction) -
           Vec2(0.5, 0.5))
              .norm() <= 1e-9);
  }
}

TEST_CASE("shear is OpenCV's alpha", "[lens][kannala_brandt]") {
  CAPTURE(seed());
  Random random(12);
  OpenCvFisheye camera = published_34_images();
  for (const double alpha : {-0.05, -0.001, 0.0003, 0.02}) {
    camera.alpha = alpha;
    CHECK(worst_difference_px(camera, random, 500) <= 1e-9);
  }
}

TEST_CASE("a 0.5 px slip of the pixel origin would be noticed", "[lens][kannala_brandt]") {
  Random random(13);
  const OpenCvFisheye camera = published_34_images();
  Lens lens = lens_of(camera, rad_from_deg(80));
  lens.terms[kCentreU] -= 0.5;
  const Vec3 direction = random_direction_within(random, 1);
  CHECK((lens.project(direction).value() - camera.project(direction) - Vec2(0.5, 0.5)).norm() >
        0.49);
}

TEST_CASE("all published Kannala–Brandt calibrations project as in OpenCV and come back",
          "[lens][kannala_brandt][outside_data]") {
  const auto file = shared_data("fisheye_calibrations.json");
  if (!file) return;
  CAPTURE(seed());
  Random random(14);
  std::ifstream in(*file);
  int cases = 0;
  for (const auto& row : nlohmann::json::parse(in)) {
    if (row.at("model").get<std::string>().rfind("KB4", 0) != 0) continue;
    const OpenCvFisheye camera{.fx = row.at("fx").get<double>(),
                               .fy = row.at("fy").get<double>(),
                               .cx = row.at("cx").get<double>(),
                               .cy = row.at("cy").get<double>(),
                               .k = row.at("k").get<std::array<double, 4>>(),
                               .width_px = row.at("size").at(0).get<int>(),
                               .height_px = row.at("size").at(1).get<int>()};
    INFO(row.at("name").get<std::string>() << ", from " << row.at("source").get<std::string>());
    CHECK(worst_difference_px(camera, random, 2000) <= 1e-9);

    // OpenCV's own way back, where it has one (it solves to 1e-8 rad, so no tighter than that).
    const Lens lens = lens_of(camera, std::min(comparable_rad(camera), rad_from_deg(75)));
    for (int i = 0; i < 300; ++i) {
      const Vec3 direction = random_direction_within(random, lens.theta_max_rad - 1e-9);
      const Vec2 px = lens.project(direction).value();
      REQUIRE_THAT(lens.unproject(px).value(), same_direction(direction, 1e-12));
      std::vector<cv::Point2d> plane;
      cv::fisheye::undistortPoints(
          std::vector<cv::Point2d>{{px.x() - 0.5, px.y() - 0.5}}, plane,
          cv::Matx33d(camera.fx, 0, camera.cx, 0, camera.fy, camera.cy, 0, 0, 1),
          cv::Vec4d(camera.k[0], camera.k[1], camera.k[2], camera.k[3]));
      REQUIRE_THAT(Vec3(plane[0].x, plane[0].y, 1), same_direction(direction, 1e-7));
    }
    ++cases;
  }
  CHECK(cases == 5);
}

TEST_CASE("beyond 90 degrees OpenCV gives a wrong pixel and we do not", "[lens][kannala_brandt]") {
  const OpenCvFisheye camera{
      .fx = 500, .fy = 500, .cx = 999.5, .cy = 999.5, .width_px = 2000, .height_px = 2000};
  const Lens lens = lens_of(camera, rad_from_deg(110));
  const double theta = rad_from_deg(100);
  const Vec3 direction(std::sin(theta), 0, std::cos(theta));
  CHECK(lens.project(direction).value().x() == Approx(1000 + 500 * theta).epsilon(1e-14));
  // They see tan 100° = −tan 80° and mirror it: 80° on the other side.
  CHECK(camera.project(direction).x() + 0.5 ==
        Approx(1000 - 500 * rad_from_deg(80)).epsilon(1e-12));
}

}  // namespace seamwright
