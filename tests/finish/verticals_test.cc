#include "compose/finish/verticals.h"

#include <catch2/catch.hpp>

#include "tests/support/random.h"
#include "tests/support/random_geometry.h"
#include "tests/support/upright_edges.h"

namespace seamwright {
namespace {

using test::Random;
using test::seed;

Vec3 any_direction(Random& random) {
  return Vec3(random.normal(1), random.normal(1), random.normal(1)).normalized();
}

Vec3 tilted_down(Random& random, double tilt_deg) {
  const double heading = random.uniform(0, 2 * kPi);
  const Vec3 axis(std::cos(heading), 0, std::sin(heading));
  return Eigen::AngleAxisd(rad_from_deg(tilt_deg), axis) * Vec3::UnitY();
}

// The plane of an edge along `along` as seen with an error of the normal.
EdgePlane seen_edge(Random& random, const Vec3& along, double sigma_rad) {
  const Vec3 to_edge = any_direction(random);
  EdgePlane plane;
  plane.normal =
      (along.cross(to_edge).normalized() + sigma_rad * any_direction(random)).normalized();
  plane.covariance =
      sigma_rad * sigma_rad * (Mat3::Identity() - plane.normal * plane.normal.transpose());
  plane.length_rad = random.uniform(0.2, 0.9);
  return plane;
}

// A room: upright edges among twice as many along two horizontal directions and any others.
std::vector<EdgePlane> upright_room(Random& random, const Vec3& down, int upright) {
  const Vec3 wall = down.cross(any_direction(random)).normalized();
  std::vector<EdgePlane> edges;
  for (int i = 0; i < upright; ++i) {
    edges.push_back(seen_edge(random, down, rad_from_deg(0.1)));
    edges.push_back(seen_edge(random, wall, rad_from_deg(0.1)));
    edges.push_back(seen_edge(random, down.cross(wall), rad_from_deg(0.1)));
  }
  for (int i = 0; i < upright; ++i) {
    edges.push_back(seen_edge(random, any_direction(random), rad_from_deg(0.1)));
  }
  return edges;
}

TEST_CASE("upright edges of a room tell the vertical", "[finish][level]") {
  CAPTURE(seed());
  Random random(11);
  int cases = 0;
  for (const double tilt_deg : {0.0, 0.5, 2.0, 5.0, 12.0}) {
    for (int repeat = 0; repeat < 6; ++repeat) {
      const Vec3 down = tilted_down(random, tilt_deg);
      const auto found = find_vertical(upright_room(random, down, 12));
      REQUIRE(found);
      const double error_deg = deg_from_rad(angle_between(found->down, down));
      CAPTURE(tilt_deg, error_deg, found->sigma_deg);
      CHECK(error_deg < 0.1);
      // Five sigmas of two axes: a claim that errors are held against.
      CHECK(error_deg < 5 * found->sigma_deg);
      CHECK(found->edges >= 10);
      CHECK(found->chance < 1e-3);
      ++cases;
    }
  }
  CHECK(cases == 30);
}

TEST_CASE("edges without order have no vertical", "[finish][level]") {
  CAPTURE(seed());
  Random random(12);
  int refused = 0;
  for (int repeat = 0; repeat < 40; ++repeat) {
    std::vector<EdgePlane> edges;
    const int count = random.integer(5, 90);
    for (int i = 0; i < count; ++i) {
      edges.push_back(seen_edge(random, any_direction(random), rad_from_deg(0.1)));
    }
    const auto found = find_vertical(edges);
    if (found) continue;
    ++refused;
    CHECK(found.error().kind == ErrorKind::numeric);
    CHECK(found.error().line().find("no verticals") != std::string::npos);
  }
  // One coincidence in a hundred is what the option promises; three in forty would be one in 100.
  CHECK(refused >= 38);
}

TEST_CASE("too few edges and edges of one wall are refused in words", "[finish][level]") {
  CAPTURE(seed());
  Random random(13);
  CHECK_FALSE(find_vertical(std::span<const EdgePlane>{}));
  std::vector<EdgePlane> three = {seen_edge(random, Vec3::UnitY(), 1e-4),
                                  seen_edge(random, Vec3::UnitY(), 1e-4),
                                  seen_edge(random, Vec3::UnitY(), 1e-4)};
  const auto few = find_vertical(three);
  REQUIRE_FALSE(few);
  CHECK(few.error().line().find("4 are needed") != std::string::npos);
  CHECK(few.error().remedy.find("'vertical'") != std::string::npos);
  // All at one azimuth, a door far away: the tilt towards it stays open.
  std::vector<EdgePlane> door;
  for (int i = 0; i < 8; ++i) {
    const double azimuth = rad_from_deg(40 + 1.0 * i);
    auto edge = edge_through(Vec3(std::sin(azimuth), 0.3, std::cos(azimuth)).normalized(),
                             Vec3(std::sin(azimuth), -0.3, std::cos(azimuth)).normalized());
    REQUIRE(edge);
    door.push_back(*edge);
  }
  const auto one_sided = find_vertical(door);
  REQUIRE_FALSE(one_sided);
  CAPTURE(one_sided.error().line());
  CHECK(one_sided.error().kind == ErrorKind::numeric);
}

TEST_CASE("given edges set the level", "[finish][level]") {
  CAPTURE(seed());
  Random random(14);
  const Vec3 down = tilted_down(random, 4);
  const auto point_of = [&](double azimuth, double height) {
    const Vec3 side = Eigen::AngleAxisd(azimuth, down) * down.unitOrthogonal();
    return Vec3((2 * side + height * down).normalized());
  };
  const auto edge = [&](double azimuth) {
    return edge_through(point_of(azimuth, -0.8), point_of(azimuth, 1.1)).value();
  };
  const auto two = vertical_from_given(std::vector{edge(0.3), edge(1.9)});
  REQUIRE(two);
  CHECK(angle_between(two->down, down) < 1e-6);
  // One edge: upright now, and the smallest turn that does it.
  const EdgePlane single = edge(0.3);
  const auto one = vertical_from_given(std::vector{single});
  REQUIRE(one);
  CHECK(std::abs(one->down.dot(single.normal)) < 1e-5);
  CHECK(one->tilt_deg() ==
        Approx(deg_from_rad(std::abs(std::asin(single.normal.y())))).margin(1e-3));

  CHECK_FALSE(edge_through(Vec3::UnitX(), Vec3::UnitX()));
  CHECK_FALSE(vertical_from_given({}));
  // A horizontal edge is no vertical.
  const auto lying = edge_through(Vec3(-0.5, 0.8, 1).normalized(), Vec3(0.5, 0.8, 1).normalized());
  const auto beside = edge_through(Vec3(1, 0.8, -0.5).normalized(), Vec3(1, 0.8, 0.5).normalized());
  REQUIRE((lying && beside));
  CHECK_FALSE(vertical_from_given(std::vector{*lying, *beside}));
}

TEST_CASE("marked edges set the level: two the whole of it, one as little as can be",
          "[finish][level]") {
  CAPTURE(seed());
  Random random(15);
  int cases = 0;
  for (const double tilt_deg : {0.0, 1.0, 5.0, 20.0}) {
    for (int repeat = 0; repeat < 5; ++repeat) {
      const Vec3 down = tilted_down(random, tilt_deg);
      const double azimuth_deg = random.uniform(0, 360);
      const auto two = vertical_from_marked(
          test::upright_edges(down, {azimuth_deg, azimuth_deg + random.uniform(60, 120)}));
      REQUIRE(two);
      CHECK(deg_from_rad(angle_between(two->down, down)) < 1e-3);
      CHECK(two->edges == 2);

      const auto marked = test::upright_edges(down, {azimuth_deg});
      const auto one = vertical_from_marked(marked);
      REQUIRE(one);
      // Upright: the vertical lies in the plane of its ends…
      const Vec3 normal =
          marked[0].ends[0].direction().cross(marked[0].ends[1].direction()).normalized();
      CHECK(std::abs(one->down.dot(normal)) < 1e-5);
      // …and no turn that does that is smaller: not even the true one.
      CHECK(one->tilt_deg() <= tilt_deg + 1e-3);
      CHECK(one->tilt_deg() == Approx(deg_from_rad(std::asin(std::abs(normal.y())))).margin(1e-3));
      ++cases;
    }
  }
  CHECK(cases == 20);
}

TEST_CASE("many edges marked by hand are better than two", "[finish][level]") {
  CAPTURE(seed());
  Random random(16);
  constexpr double kHand_deg = 0.2;
  const auto rms_deg = [&](const std::vector<double>& azimuths_deg) {
    double square = 0;
    for (int repeat = 0; repeat < 100; ++repeat) {
      const Vec3 down = tilted_down(random, 4);
      auto edges = test::upright_edges(down, azimuths_deg);
      for (UprightEdge& edge : edges) {
        for (PanoramaPlace& end : edge.ends) {
          end.longitude_rad += rad_from_deg(random.normal(kHand_deg));
          end.latitude_rad += rad_from_deg(random.normal(kHand_deg));
        }
      }
      const auto found = vertical_from_marked(edges);
      REQUIRE(found);
      square += std::pow(deg_from_rad(angle_between(found->down, down)), 2) / 100;
    }
    return std::sqrt(square);
  };
  const double two = rms_deg({10, 100});
  const double eight = rms_deg({10, 100, 55, 145, 190, 235, 280, 325});
  CAPTURE(two, eight);
  CHECK(two < 2 * kHand_deg);
  CHECK(eight < 0.7 * two);
}

TEST_CASE("marked edges that tell no level are refused in words", "[finish][level]") {
  CHECK_FALSE(vertical_from_marked({}));
  const auto edge = [](double from_deg, double to_deg, double latitude_deg) {
    return UprightEdge{{{{rad_from_deg(from_deg), rad_from_deg(latitude_deg)},
                         {rad_from_deg(to_deg), rad_from_deg(latitude_deg)}}}};
  };
  const auto lying = vertical_from_marked(std::vector{edge(-30, 30, -40), edge(60, 120, -40)});
  REQUIRE_FALSE(lying);
  CHECK(lying.error().field == "verticals");
  CHECK_THAT(lying.error().line(), Catch::Contains("would tilt the picture"));
  const auto point = vertical_from_marked(std::vector{edge(-30, 30, 20), edge(10, 10.3, 20)});
  REQUIRE_FALSE(point);
  CHECK(point.error().field == "verticals[1]");
}

}  // namespace
}  // namespace seamwright
