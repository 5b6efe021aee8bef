#include "compose/finish/cube.h"

#include <algorithm>
#include <fstream>
#include <string_view>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "compose/finish/flat_view.h"
#include "imaging/read_image.h"
#include "tests/finish/sphere_pictures.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {
namespace {

using nlohmann::json;
using test::panorama_of;
using test::ScratchDir;

json read_json(const std::filesystem::path& path) {
  std::ifstream file(path);
  return json::parse(file);
}

Vec3 vector_of(const json& value) {
  return {value[0].get<double>(), value[1].get<double>(), value[2].get<double>()};
}

TEST_CASE("the faces join: every direction is on one of them", "[finish][cube]") {
  const auto faces = cube_faces(64);
  REQUIRE(faces.size() == 6);
  const Equirect raster{64, 32};
  for (int y = 0; y < 32; ++y) {
    for (int x = 0; x < 64; ++x) {
      int hits = 0;
      for (const CubeFace& face : faces) {
        const auto px = face.view.position(raster.direction({x + 0.5, y + 0.5}));
        hits += px && px->minCoeff() >= -1e-9 && px->maxCoeff() <= 64 + 1e-9 ? 1 : 0;
      }
      CHECK(hits >= 1);
    }
  }
  for (const CubeFace& face : faces) {
    CHECK(face.view.sphere_from_view.determinant() == Approx(1));
    CHECK((face.view.sphere_from_view * face.view.sphere_from_view.transpose()).isIdentity(1e-12));
  }
}

// Read back through nothing but what the JSON says.
TEST_CASE("faces on disk are what their description says", "[finish][cube]") {
  const ScratchDir dir;
  const test::Codes scene = test::waves(8);
  REQUIRE(write_faces(panorama_of(256, scene), dir / "cube", {.face_px = 60}));
  const json cube = read_json(dir / "cube/cube.json");
  CHECK(cube["format"] == "seamwright-cube");
  CHECK(cube["face_px"] == 60);
  int checked = 0;
  for (const json& face : cube["faces"]) {
    const auto picture = read_image(dir / "cube" / face["file"].get<std::string>());
    REQUIRE(picture);
    REQUIRE(picture->width() == 60);
    for (int y = 2; y < 60; y += 7) {
      for (int x = 3; x < 60; x += 7) {
        const Vec3 d =
            (vector_of(face["ahead"]) + (2 * (x + 0.5) / 60 - 1) * vector_of(face["right"]) +
             (2 * (y + 0.5) / 60 - 1) * vector_of(face["down"]))
                .normalized();
        const double code =
            picture->row<std::uint16_t>(y)[static_cast<std::size_t>(3 * x)] / 65535.0;
        CHECK(code == Approx(scene(d, 0)).margin(0.004));
        ++checked;
      }
    }
  }
  CHECK(checked == 6 * 9 * 9);
}

TEST_CASE("faces are listed by the alphabet, tiles of the usual size fill native faces",
          "[finish][cube]") {
  const auto faces = cube_faces(64);
  CHECK(std::is_sorted(faces.begin(), faces.end(), [](const CubeFace& a, const CubeFace& b) {
    return std::string_view(a.name) < std::string_view(b.name);
  }));
  const int tile_px = CubeOptions{}.tile_px;
  CHECK(tile_px % 16 == 0);
  int widths = 0;
  for (const auto& [width, a_side] : {std::pair{4096, 2}, {8192, 4}, {16384, 8}}) {
    const int face_px = native_view_size(width, 90);
    CAPTURE(width, face_px);
    CHECK((face_px + tile_px - 1) / tile_px == a_side);
    CHECK(face_px > 0.98 * a_side * tile_px);
    ++widths;
  }
  CHECK(widths == 3);

  const ScratchDir dir;
  const auto scene = test::waves(6);
  REQUIRE(write_tiles(panorama_of(256, scene), dir / "tiles"));
  CHECK(read_json(dir / "tiles/tiles.json")["tile_px"] == tile_px);
}

TEST_CASE("tiles of every scale cover their faces", "[finish][cube]") {
  const ScratchDir dir;
  const test::Codes scene = test::waves(4);
  REQUIRE(write_tiles(panorama_of(512, scene), dir / "tiles", {.face_px = 150, .tile_px = 64}));
  const json tiles = read_json(dir / "tiles/tiles.json");
  CHECK(tiles["format"] == "seamwright-tiles");
  REQUIRE(tiles["scales"].size() == 3);  // 150, 75, 38
  CHECK(tiles["scales"][2]["face_px"] == 38);
  int files = 0;
  for (const json& scale : tiles["scales"]) {
    for (const json& face : tiles["faces"]) {
      int width = 0;
      for (int column = 0; column < scale["columns"].get<int>(); ++column) {
        int height = 0;
        int tile_width = 0;
        for (int row = 0; row < scale["rows"].get<int>(); ++row) {
          const auto path = dir / "tiles" / scale["folder"].get<std::string>() /
                            (face["name"].get<std::string>() + "-r" + std::to_string(row) + "-c" +
                             std::to_string(column) + ".jpg");
          const auto header = read_image_header(path);
          REQUIRE(header);
          height += header->height;
          tile_width = header->width;
          ++files;
        }
        CHECK(height == scale["face_px"]);
        width += tile_width;
      }
      CHECK(width == scale["face_px"]);
    }
  }
  CHECK(files == 6 * (9 + 4 + 1));
  // The smallest scale's middle shows the face's middle.
  const auto ahead = read_image(dir / "tiles/38/ahead-r0-c0.jpg");
  REQUIRE(ahead);
  CHECK(ahead->row<std::uint8_t>(19)[3 * 19] / 255.0 ==
        Approx(scene(Vec3::UnitZ(), 0)).margin(0.03));
}

TEST_CASE("cube options out of range are refused", "[finish][cube]") {
  const ScratchDir dir;
  const Image panorama = panorama_of(64, test::waves(2));
  CHECK_FALSE(write_faces(panorama, dir / "a", {.face_px = 8}));
  CHECK_FALSE(write_tiles(panorama, dir / "b", {.tile_px = 5}));
  CHECK_FALSE(write_tiles(panorama, dir / "c", {.jpeg_quality = 0}));
  CHECK(dir.entry_count() == 0);
}

}  // namespace
}  // namespace seamwright
