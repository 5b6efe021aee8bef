// A shot as one value: what opens, what it hashes to, what it is stitched to.

#include "jobs/shot/open_shot.h"

#include <cstdint>
#include <filesystem>

#include <catch2/catch.hpp>

#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "jobs/shot/stitch_shot.h"
#include "tests/support/random.h"
#include "tests/support/rigs.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;

namespace fs = std::filesystem;

namespace {

/// A body whose template is of 320 px, and a shot of it at half that size.
struct Room {
  test::ScratchDir dir;

  Room() {
    RigTemplate body;
    body.body = "Lantern 0001";
    body.solution.rig = test::nominal_rig({.width_px = 320, .height_px = 320});
    const auto written = write_template(dir / "T.template.yaml", body);
    if (!written) FAIL(written.error().line());
    test::Random random(3);
    for (const char* name : {"r_front.tif", "r_back.tif"}) {
      Image image(160, 160, Channels::rgb, SampleType::u16);
      for (int y = 0; y < 160; ++y) {
        for (auto& code : image.row<std::uint16_t>(y)) {
          code = static_cast<std::uint16_t>(random.integer(8000, 30000));
        }
      }
      REQUIRE(write_image(dir / name, image));
    }
  }

  [[nodiscard]] Result<Shot> open(const ShotWishes& wishes = {}) const {
    return open_shot({.files = {dir / "r_front.tif", dir / "r_back.tif"}},
                     {.template_file = dir / "T.template.yaml", .wishes = wishes});
  }
};

std::string hash_of(const Result<Shot>& shot) {
  if (!shot) FAIL(shot.error().line());
  const auto hash = content_hash_of(*shot);
  if (!hash) FAIL(hash.error().line());
  return *hash;
}

}  // namespace

TEST_CASE("a shot's content hash is of everything that decides its panorama", "[shot]") {
  const Room room;
  const std::string before = hash_of(room.open());
  CHECK(hash_of(room.open()) == before);
  CHECK(hash_of(room.open({.width_px = 256})) != before);
  fs::create_directories(room.dir / "elsewhere");
  for (const char* name : {"T.template.yaml", "r_front.tif", "r_back.tif"}) {
    fs::copy(room.dir / name, room.dir / "elsewhere" / name);
  }
  const auto moved =
      open_shot({.files = {room.dir / "elsewhere/r_front.tif", room.dir / "elsewhere/r_back.tif"}},
                {.template_file = room.dir / "elsewhere/T.template.yaml"});
  CHECK(hash_of(moved) == before);
  fs::copy(room.dir / "r_front.tif", room.dir / "r_back.tif", fs::copy_options::overwrite_existing);
  CHECK(hash_of(room.open()) != before);
}

TEST_CASE("a shot's pictures come with its rig at their size, and are stitched", "[shot]") {
  const Room room;
  const auto shot = room.open({.width_px = 128, .seam = SeamKind::plain});
  REQUIRE(shot);
  CHECK(shot->name() == "r");
  CHECK(shot->rig.lenses[0].lens.width_px == 320);
  const auto pictures = read_pictures(*shot, Exposures::all);
  REQUIRE(pictures);
  CHECK(pictures->rig.lenses[0].lens.width_px == 160);
  CHECK_FALSE(pictures->is_light);
  const auto made = stitch_shot(*shot, {.out = room.dir / "r.tif", .jpeg = room.dir / "r.jpg"});
  if (!made) FAIL(made.error().line());
  CHECK(made->render.width_px == 128);
  CHECK_FALSE(made->joined_pairs);
  const auto header = read_image_header(room.dir / "r.tif");
  REQUIRE(header);
  CHECK(header->width == 128);
  CHECK(fs::exists(room.dir / "r.jpg"));

  const auto document = document_at(*shot, room.dir / "rooms" / "r.shot.yaml");
  REQUIRE(document);
  CHECK(document->frames == std::vector<fs::path>{"../r_front.tif", "../r_back.tif"});
  CHECK(document->rig_template->file == "../T.template.yaml");
  CHECK(document->rig_template->sha256 == shot->body.sha256);
}

TEST_CASE("what cannot be a shot is refused in the words of settings", "[shot]") {
  const Room room;
  const auto refusal = [](const Result<Shot>& shot) {
    return shot ? std::string() : shot.error().line();
  };
  CHECK_THAT(refusal(open_shot({.files = {"a.tif", "b.tif"}})),
             Catch::StartsWith("template: is required"));
  CHECK_THAT(refusal(room.open({.width_px = 257})), Catch::StartsWith("width: 257 px"));
  ShotWishes wishes;
  wishes.cover.plate_deg = 20;
  CHECK_THAT(refusal(room.open(wishes)), Catch::StartsWith("plate: is missing"));
  const auto shot = room.open();
  REQUIRE(shot);
  const auto onto = stitch_shot(*shot, {.out = room.dir / "r_front.tif"});
  REQUIRE_FALSE(onto);
  CHECK(onto.error().field == "out");
  CHECK_THAT(onto.error().what, Catch::Contains("files that this is made from"));
}
