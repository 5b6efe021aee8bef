#include "templates/tour_file.h"

#include <catch2/catch.hpp>

#include "templates/map_file.h"
#include "tests/support/edited.h"

using namespace seamwright;
using Catch::Detail::Approx;

namespace {

Tour full_tour() {
  Tour tour{.title = "Guest \"house\"", .start = "hall", .height_m = 1.4, .rooms = {}, .links = {}};
  tour.rooms = {{.name = "hall",
                 .title = "Große Halle",
                 .panorama = "panoramas/hall.tif",
                 .place = TourPlace{.network = 3,
                                    .right_m = -1.25,
                                    .ahead_m = 2.5,
                                    .heading_deg = 12.5,
                                    .position_sigma_m = 0.01,
                                    .heading_sigma_deg = 0.02},
                 .first_deg = -45},
                {.name = "yard",
                 .title = "Yard",
                 .panorama = "panoramas/yard.tif",
                 .place = {},
                 .first_deg = {}}};
  tour.links = {
      {.from = "hall", .to = "yard", .origin = LinkOrigin::by_hand, .from_deg = 10, .to_deg = -20}};
  return tour;
}

// The tour with one piece of its text exchanged, refused with these words.
void check_refused(const std::string& from, const std::string& to, const std::string& words) {
  CAPTURE(from, to);
  const auto tour = parse_tour(test::edited(format_tour(full_tour()), from, to), "house.tour.json");
  REQUIRE_FALSE(tour);
  CHECK(tour.error().line().find(words) != std::string::npos);
  CHECK(tour.error().line().starts_with("house.tour.json"));
}

}  // namespace

TEST_CASE("A tour reads back as it was written", "[tour]") {
  const Tour tour = full_tour();
  const auto read = parse_tour(format_tour(tour), "house.tour.json");
  REQUIRE(read);
  CHECK(*read == tour);
  CHECK(format_tour(*read) == format_tour(tour));
}

TEST_CASE("A tour that cannot be is refused", "[tour]") {
  check_refused("\"yard\", \"title\"", "\"hall\", \"title\"", "stands twice");
  check_refused("\"name\": \"yard\"", "\"name\": \"../yard\"", "cannot name a folder");
  check_refused("\"name\": \"yard\"", "\"name\": \".yard\"", "cannot name a folder");
  check_refused("\"to\": \"yard\"", "\"to\": \"attic\"", "there is no room");
  check_refused("\"to\": \"yard\"", "\"to\": \"hall\"", "to itself");
  check_refused("\"start\": \"hall\"", "\"start\": \"attic\"", "there is no room");
  check_refused("\"height_m\": 1.4", "\"height_m\": 14", "outside 0.2…5 m");
  check_refused("panoramas/hall.tif", "/panoramas/hall.tif", "is absolute");
  check_refused("\"found\": \"by hand\"", "\"found\": \"maybe\"", "found");
  check_refused("\"version\": 1", "\"version\": 2", "newer");
  check_refused("\"right_m\": -1.25", "\"right_m\": .nan", "right_m");
  check_refused("\"ahead_m\"", "\"ahead_mm\"", "ahead_mm");
}

TEST_CASE("The tours that a map makes are known by their name", "[tour]") {
  CHECK(is_tour_file("house/house.tour.json"));
  CHECK_FALSE(is_tour_file("house/stands.json"));
}

TEST_CASE("A map is read as learn writes it", "[map]") {
  const auto map =
      parse_map(R"({"axes": "words", "body": "Lantern 0117", "format": "seamwright-map",
    "stands": [
      {"heading_deg": -12.5, "heading_sigma_deg": 1e-05, "network": 0,
       "position_m": [1.5, -0.25, 2.0], "position_sigma_m": [0.001, 0.002, 0.003], "shot": "hall"},
      {"network": null, "shot": "yard"}], "version": 1})",
                "stands.json");
  REQUIRE(map);
  REQUIRE(map->shots.size() == 2);
  REQUIRE(map->shots[0].place.has_value());
  CHECK(map->shots[0].place->heading_deg == Approx(-12.5));
  CHECK(map->shots[0].place->position_m.z() == Approx(2));
  CHECK_FALSE(map->shots[1].place.has_value());
  CHECK_FALSE(parse_map(R"({"format": "seamwright-map", "version": 1, "axes": "", "body": "b",
    "stands": [{"shot": "a"}, {"shot": "a"}]})",
                        "stands.json"));
}
