#include "jobs/tour/tour_links.h"

#include <set>

#include <catch2/catch.hpp>

#include "tests/support/random.h"

using namespace seamwright;
using Catch::Detail::Approx;

namespace {

TourRoom room_at(const std::string& name, double right_m, double ahead_m, double heading_deg = 0,
                 int network = 0) {
  return {.name = name,
          .title = name,
          .panorama = name + ".tif",
          .place = TourPlace{.network = network,
                             .right_m = right_m,
                             .ahead_m = ahead_m,
                             .heading_deg = heading_deg},
          .first_deg = {}};
}

std::set<std::pair<std::string, std::string>> pairs(const std::vector<TourLink>& links) {
  std::set<std::pair<std::string, std::string>> all;
  for (const TourLink& link : links) all.insert({link.from, link.to});
  return all;
}

}  // namespace

TEST_CASE("Neighbours are linked, and no way leads past a stand", "[tour]") {
  // Three stands in a row, and one around a corner.
  const auto links = links_between_neighbours(
      {room_at("a", 0, 0), room_at("b", 0, 2), room_at("c", 0.1, 4), room_at("d", 3, 4)});
  CHECK(pairs(links) ==
        std::set<std::pair<std::string, std::string>>{{"a", "b"}, {"b", "c"}, {"c", "d"}});
}

TEST_CASE("Rooms of other networks, and rooms without a place, are not linked", "[tour]") {
  TourRoom lost = room_at("lost", 0, 0);
  lost.place.reset();
  CHECK(links_between_neighbours({room_at("a", 0, 0), room_at("b", 1, 0, 0, 1), lost}).empty());
}

// Toussaint 1980, theorem: the graph holds the minimum spanning tree, so that all is joined.
TEST_CASE("All stands of a network are joined", "[tour]") {
  test::Random random(11);
  for (int trial = 0; trial < 50; ++trial) {
    Tour tour{.title = "t", .start = "0", .rooms = {}, .links = {}};
    for (int i = 0; i < 12; ++i) {
      tour.rooms.push_back(
          room_at(std::to_string(i), random.uniform(-8, 8), random.uniform(-8, 8)));
    }
    tour.links = links_between_neighbours(tour.rooms);
    CHECK(tour.links.size() >= 11);
    std::set<std::size_t> reached = {0};
    for (std::size_t before = 0; before != reached.size();) {
      before = reached.size();
      for (const std::size_t from : std::set<std::size_t>(reached)) {
        for (const TourDoor& door : doors_of(tour, from)) reached.insert(door.to);
      }
    }
    CHECK(reached.size() == 12);
  }
}

TEST_CASE("A door is seen where its room stands, whichever way the panorama looks", "[tour]") {
  Tour tour{.title = "t", .start = "a", .rooms = {}, .links = {}};
  // b is to the right of a; a's middle looks 30 degrees clockwise of ahead.
  tour.rooms = {room_at("a", 1, 1, 30), room_at("b", 4, 1, -90)};
  tour.links = links_between_neighbours(tour.rooms);
  const auto doors = doors_of(tour, 0);
  REQUIRE(doors.size() == 1);
  CHECK(doors[0].to == 1);
  CHECK(*doors[0].bearing_deg == Approx(60));
  // From b one looks back to the left of ahead; its middle looks there.
  CHECK(*doors[0].back_deg == Approx(0).margin(1e-9));
  CHECK(*doors[0].distance_m == Approx(3));
  // The other way around it is the same way.
  const auto back = doors_of(tour, 1);
  REQUIRE(back.size() == 1);
  CHECK(*back[0].bearing_deg == Approx(0).margin(1e-9));
  CHECK(*back[0].back_deg == Approx(60));
}

TEST_CASE("What a person says of a way comes before the map", "[tour]") {
  Tour tour{.title = "t", .start = "a", .rooms = {}, .links = {}};
  tour.rooms = {room_at("a", 0, 0), room_at("b", 3, 0)};
  tour.links = {
      {.from = "a", .to = "b", .origin = LinkOrigin::by_hand, .from_deg = 17, .to_deg = {}}};
  CHECK(*doors_of(tour, 0)[0].bearing_deg == Approx(17));
  CHECK(*doors_of(tour, 1)[0].back_deg == Approx(17));
  CHECK(*doors_of(tour, 1)[0].bearing_deg == Approx(-90));
}

TEST_CASE("A way between rooms that share no map has no distance", "[tour]") {
  Tour tour{.title = "t", .start = "a", .rooms = {}, .links = {}};
  tour.rooms = {room_at("a", 0, 0), room_at("b", 3, 0, 0, 1)};
  tour.links = {
      {.from = "b", .to = "a", .origin = LinkOrigin::by_hand, .from_deg = {}, .to_deg = {}}};
  const auto doors = doors_of(tour, 0);
  REQUIRE(doors.size() == 1);
  CHECK_FALSE(doors[0].bearing_deg.has_value());
  CHECK_FALSE(doors[0].distance_m.has_value());
}
