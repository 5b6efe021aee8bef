#include "features/plumb_lines.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include <catch2/catch.hpp>

#include "base/parallel.h"
#include "tests/support/rigs.h"

namespace seamwright::test {

namespace {

// A circle on the sphere; brighter on the side of its pole.
struct Circle {
  Vec3 pole;
  double from_pole_rad = kPi / 2;  // 90°: a great circle
  double contrast = 0.2;

  // Distance of a pixel's direction from its picture, to first order.
  [[nodiscard]] double distance_px(const Lens& lens, const Vec3& direction) const {
    const Vec3 outwards = direction.dot(pole) * direction - pole;  // away from the pole
    if (outwards.norm() < 1e-9) return 1e9;
    const double off_rad = from_pole_rad - angle_between(direction, pole);
    constexpr double kStep_rad = 1e-4;
    // The gradient of the angle over pixels: a step across the circle and one along it.
    Eigen::Matrix<double, 2, 3> jacobian;
    if (!lens.project(direction, jacobian)) return 1e9;
    const Vec3 across = kStep_rad * outwards.normalized();
    const Vec3 along = direction.cross(across);
    Mat2 steps;
    steps << jacobian * across, jacobian * along;
    const Vec2 gradient = steps.transpose().inverse() * Vec2(kStep_rad, 0);
    return off_rad / gradient.norm();
  }
};

// Edges as a lens of Gaussian blur σ = 0.6 px sees them.
Image picture_of(const Lens& lens, const std::vector<Circle>& circles, std::uint64_t stream) {
  Image frame(lens.width_px, lens.height_px, Channels::grey, SampleType::f32);
  parallel_for(0, lens.height_px, [&](int y) {
    Random random(stream * 100003 + static_cast<std::uint64_t>(y));
    const auto row = frame.row<float>(y);
    for (int x = 0; x < lens.width_px; ++x) {
      const double noise = random.normal(0.002);
      const auto direction = lens.unproject(Vec2(x + 0.5, y + 0.5));
      if (!direction) continue;
      double value = 0.15;
      for (const Circle& circle : circles) {
        const double d = circle.distance_px(lens, *direction) / 0.6;
        value += circle.contrast * 0.5 * std::erfc(-d / std::sqrt(2.0));
      }
      row[static_cast<std::size_t>(x)] = static_cast<float>(value + noise);
    }
  });
  return frame;
}

const std::vector<Circle>& straight() {
  static const std::vector<Circle> circles = {{Vec3(1, 0.1, 0.2).normalized()},
                                              {Vec3(0.2, 1, -0.3).normalized()},
                                              {Vec3(-0.7, 0.8, 0.5).normalized()},
                                              {Vec3(0.1, 0.5, 1).normalized(), kPi / 2, 0.1}};
  return circles;
}

Rig two_lenses() {
  Random random(41);
  RigOptions options{.width_px = 600, .height_px = 600};
  options.centre_spread_px = 5;
  return random_rig(random, options);
}

// Edges before lens 0; lens 1 wears its cap.
std::vector<Image> frames_of(const Rig& rig, const std::vector<Circle>& circles,
                             std::uint64_t stream) {
  return {picture_of(rig.lenses[0].lens, circles, stream),
          Image(600, 600, Channels::grey, SampleType::f32)};
}

// Root mean square distance of a line's points from a circle.
double rms_px(const Lens& lens, const PlumbLine& line, const Circle& circle) {
  double sum = 0;
  for (const PlumbPoint& point : line.points) {
    sum += std::pow(circle.distance_px(lens, *lens.unproject(point.px)), 2);
  }
  return std::sqrt(sum / static_cast<double>(line.points.size()));
}

}  // namespace

TEST_CASE("straight edges are found and measured to a few hundredths of a pixel", "[lines]") {
  CAPTURE(seed());
  const Rig rig = two_lenses();
  const Lens& lens = rig.lenses[0].lens;
  const std::vector<Image> frames = frames_of(rig, straight(), 1);
  const auto lines = find_plumb_lines(frames, rig, 5);
  REQUIRE(lines);
  std::vector<int> found(straight().size(), 0);
  for (const PlumbLine& line : *lines) {
    CHECK(line.shot == 5);
    CHECK(line.lens == 0);
    std::size_t best = 0;
    for (std::size_t i = 0; i < straight().size(); ++i) {
      if (rms_px(lens, line, straight()[i]) < rms_px(lens, line, straight()[best])) best = i;
    }
    ++found[best];
    // 0.02 px is what the blur and noise of this picture allow, twice that for crossings.
    CHECK(rms_px(lens, line, straight()[best]) < 0.04);
    for (const PlumbPoint& point : line.points) CHECK(point.sigma_px < 0.1);
  }
  for (const int count : found) CHECK(count > 0);
}

TEST_CASE("straight edges are found through a lens that is still wrong", "[lines]") {
  CAPTURE(seed());
  const Rig rig = two_lenses();
  Rig wrong = rig;
  wrong.lenses[0].lens.terms[kFocal] *= 1.01;
  wrong.lenses[0].lens.terms[kCentreU] += 3;
  wrong.lenses[0].lens.terms[kRadial1] += 0.005;
  const Lens& lens = rig.lenses[0].lens;
  const std::vector<Image> frames = frames_of(rig, straight(), 2);
  const auto lines = find_plumb_lines(frames, wrong, 0);
  REQUIRE(lines);
  CHECK(lines->size() >= straight().size());
  for (const PlumbLine& line : *lines) {
    double least = 1e9;
    for (const Circle& circle : straight()) least = std::min(least, rms_px(lens, line, circle));
    CHECK(least < 0.04);  // where the edge is does not depend on the lens
  }
}

TEST_CASE("curved edges are no plumb lines", "[lines]") {
  CAPTURE(seed());
  const Rig rig = two_lenses();
  std::vector<Circle> circles;
  for (const double from_pole_deg : {20.0, 45.0, 70.0}) {
    circles.push_back({Vec3(0.4, -0.3, 1).normalized(), rad_from_deg(from_pole_deg)});
  }
  const std::vector<Image> frames = frames_of(rig, circles, 3);
  const auto lines = find_plumb_lines(frames, rig, 0);
  REQUIRE(lines);
  CHECK(lines->empty());
  // They are edges all the same.
  const LensView view(match_plane(frames[0]), rig.lenses[0]);
  CHECK(find_edge_chains(view).size() >= circles.size());
}

TEST_CASE("lines do not depend on the number of threads", "[lines][long]") {
  const Rig rig = two_lenses();
  const std::vector<Image> frames = frames_of(rig, straight(), 4);
  const auto many = find_plumb_lines(frames, rig, 0);
  REQUIRE(many);
  const ThreadLimit limit(1);
  const auto one = find_plumb_lines(frames, rig, 0);
  REQUIRE(one);
  REQUIRE(one->size() == many->size());
  for (std::size_t i = 0; i < one->size(); ++i) {
    REQUIRE((*one)[i].points.size() == (*many)[i].points.size());
    for (std::size_t k = 0; k < (*one)[i].points.size(); ++k) {
      CHECK((*one)[i].points[k].px == (*many)[i].points[k].px);
      CHECK((*one)[i].points[k].sigma_px == (*many)[i].points[k].sigma_px);
    }
  }
}

TEST_CASE("the crossing of an edge is unbiased and as sure as it says", "[lines]") {
  CAPTURE(seed());
  Random random(43);
  // Little noise, where the sampled picture's own limit counts (least_sigma_px), and much.
  const double noise = GENERATE(0.004, 0.02);
  CAPTURE(noise);
  double squares = 0;
  double sum = 0;
  int count = 0;
  for (int trial = 0; trial < 200; ++trial) {
    const double heading = random.uniform(0, kPi);
    const Vec2 across(std::cos(heading), std::sin(heading));
    const double offset_px = random.uniform(-1, 1);
    Image image(40, 40, Channels::grey, SampleType::f32);
    for (int y = 0; y < 40; ++y) {
      for (int x = 0; x < 40; ++x) {
        const double d = across.dot(Vec2(x + 0.5 - 20, y + 0.5 - 20)) - offset_px;
        image.row<float>(y)[static_cast<std::size_t>(x)] = static_cast<float>(
            0.3 + 0.15 * std::erfc(-d / 0.6 / std::sqrt(2.0)) + random.normal(noise));
      }
    }
    CHECK(white_noise(image) == Approx(noise).epsilon(0.35));  // of few pixels, an edge among them
    const SplinePlane plane(image, 0.7);
    const auto crossing = cross_edge(plane, Vec2(20, 20), across, 2, noise);
    REQUIRE(crossing);
    const double off = crossing->offset_px - offset_px;
    sum += off / crossing->sigma_px;
    squares += std::pow(off / crossing->sigma_px, 2);
    ++count;
  }
  CHECK(count == 200);
  CHECK(std::abs(sum / count) < 0.3);
  CHECK(std::sqrt(squares / count) == Approx(1).margin(0.25));
}

}  // namespace seamwright::test
