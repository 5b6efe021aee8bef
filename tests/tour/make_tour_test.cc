#include "jobs/tour/make_tour.h"

#include <catch2/catch.hpp>

#include "compose/finish/cube.h"
#include "imaging/metadata.h"
#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "jobs/tour/room_pictures.h"
#include "tests/finish/sphere_pictures.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using Catch::Detail::Approx;
using test::panorama_of;
using test::ScratchDir;
namespace fs = std::filesystem;

namespace {

MapFile map_of_two() {
  MapFile map;
  map.body = "Lantern 0117";
  map.shots.push_back({.shot = "hall", .place = MapPlace{.network = 1, .heading_deg = 170}});
  map.shots.push_back(
      {.shot = "stairs",
       .place = MapPlace{.network = 1, .position_m = Vec3(3, 0.1, -4), .heading_deg = -20}});
  map.shots.push_back({.shot = "yard", .place = {}});
  return map;
}

}  // namespace

TEST_CASE("A first tour has each room where the map has it", "[tour]") {
  const std::vector<StitchedRoom> rooms = {
      {.name = "hall", .shot = "hall", .panorama = "house/out/hall.tif", .middle_deg = 20},
      {.name = "a_stairs-2", .shot = "stairs", .panorama = "house/out/a_stairs-2.tif"},
      {.name = "yard", .shot = "yard", .panorama = "house/out/yard.tif"}};
  const Tour tour = first_tour(rooms, map_of_two(), "House", "house");
  CHECK_FALSE(tour.validate().has_value());
  REQUIRE(tour.rooms.size() == 3);
  CHECK(tour.rooms[0].panorama == fs::path("out/hall.tif"));
  REQUIRE(tour.rooms[0].place.has_value());
  // The middle was turned by 20 degrees: past 180 it begins anew.
  CHECK(tour.rooms[0].place->heading_deg == Approx(-170));
  CHECK(tour.rooms[1].title == "A stairs 2");
  CHECK(tour.rooms[1].place->right_m == Approx(3));
  CHECK(tour.rooms[1].place->ahead_m == Approx(-4));
  CHECK_FALSE(tour.rooms[2].place.has_value());
  REQUIRE(tour.links.size() == 1);
  CHECK(rooms_without_place(tour) == std::vector<std::string>{"yard"});
  CHECK(rooms_out_of_reach(tour) == std::vector<std::string>{"yard"});
}

TEST_CASE("A run file that cannot be read leaves the other rooms", "[tour]") {
  const ScratchDir scratch;
  const fs::path file = scratch.path() / "hall.tif";
  REQUIRE(write_image(file, panorama_of(256, test::waves(5)),
                      {.xmp = gpano_xmp(PanoramaInfo::whole_sphere(256, 128))}));
  const auto found = stitched_rooms({scratch.path() / "lost.run.yaml", file});
  REQUIRE(found);
  REQUIRE(found->rooms.size() == 1);
  CHECK(found->rooms[0].name == "hall");
  REQUIRE(found->left_out.size() == 1);
  CHECK(found->left_out[0].line().find("lost.run.yaml") != std::string::npos);
}

TEST_CASE("Sizes end with the panorama's own", "[tour]") {
  CHECK(room_sizes(8192) == std::vector<int>{256, 1024, 2048});
  CHECK(room_sizes(4096) == std::vector<int>{256, 1024, 1304});
  CHECK(room_sizes(512).size() == 1);
  CHECK(room_sizes(512).front() < 256);
}

TEST_CASE("A room's pictures show the panorama and tell nothing of its place and time", "[tour]") {
  const ScratchDir scratch;
  const auto codes = test::waves(5);
  FrameInfo info{.taken_at = "2024:05:14 09:03:20", .body_model = "Lantern Two"};
  info.location = Location{47.5, -8.25, 430.0};
  const fs::path file = scratch.path() / "hall.tif";
  REQUIRE(write_image(file, panorama_of(1024, codes),
                      {.info = info, .xmp = gpano_xmp(PanoramaInfo::whole_sphere(1024, 512))}));
  const auto panorama = read_image(file);
  REQUIRE(panorama);
  const fs::path folder = scratch.path() / "rooms";
  REQUIRE(write_room_pictures(*panorama, folder));
  int seen = 0;
  for (const int size : room_sizes(1024)) {
    for (const CubeFace& face : cube_faces(size)) {
      const auto picture =
          read_image(folder / std::to_string(size) / (std::string(face.name) + ".jpg"));
      REQUIRE(picture);
      REQUIRE(picture->width() == size);
      const auto told =
          read_frame_info(folder / std::to_string(size) / (std::string(face.name) + ".jpg"));
      REQUIRE(told);
      CHECK_FALSE(told->location.has_value());
      CHECK(told->taken_at.value_or("").empty());
      double worst = 0;
      for (int y = 0; y < size; y += 7) {
        for (int x = 0; x < size; x += 7) {
          const Vec3 d = face.view.direction({x + 0.5, y + 0.5}).normalized();
          const double got = picture->row<std::uint8_t>(y)[static_cast<std::size_t>(3 * x + 1)];
          worst = std::max(worst, std::abs(got - 255 * codes(d, 1)));
        }
      }
      // JPEG of quality 70 and 85 on smooth waves.
      CHECK(worst < 6);
      ++seen;
    }
  }
  CHECK(seen == 12);
}
