#include "imaging/frame.h"

#include <catch2/catch.hpp>

#include "imaging/orient.h"
#include "imaging/write_image.h"
#include "tests/imaging/pictures.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {
namespace {

using test::Random;
using test::ScratchDir;

class Shots {
 public:
  Shots() {
    front = test::random_image(random, 30, 20, Channels::rgb, SampleType::u16);
    back = test::random_image(random, 30, 20, Channels::rgb, SampleType::u16);
    REQUIRE(write_image(dir / "front.tif", front, {.info = FrameInfo{.exposure_s = 0.25}}));
    REQUIRE(write_image(dir / "back.tif", back));
  }

  // One file with the pixels of both beside or below each other.
  std::filesystem::path joined(bool across) const {
    Image image(across ? 60 : 30, across ? 20 : 40, Channels::rgb, SampleType::u16);
    for (int y = 0; y < 20; ++y) {
      std::ranges::copy(front.row<std::uint16_t>(y), image.row<std::uint16_t>(y).begin());
      const int row = across ? y : y + 20;
      const std::size_t start = across ? 90 : 0;
      std::ranges::copy(back.row<std::uint16_t>(y),
                        image.row<std::uint16_t>(row).subspan(start).begin());
    }
    const auto path = dir / (across ? "beside.tif" : "below.tif");
    REQUIRE(write_image(path, image));
    return path;
  }

  Random random{71};
  ScratchDir dir;
  Image front;
  Image back;
};

Error refusal(const std::vector<std::filesystem::path>& files, const FrameIntake& intake = {}) {
  const auto frames = read_shot(files, intake);
  REQUIRE_FALSE(frames);
  CHECK(frames.error().kind == ErrorKind::user_input);
  CHECK_FALSE(frames.error().remedy.empty());
  CHECK_FALSE(test::contains(frames.error().line(), "\n"));
  return frames.error();
}

TEST_CASE("one file a lens", "[imaging][frame]") {
  CAPTURE(test::seed());
  const Shots shots;
  const auto frames = read_shot({shots.dir / "front.tif", shots.dir / "back.tif"}, {});
  REQUIRE(frames);
  REQUIRE(frames->size() == 2);
  CHECK(test::same_picture((*frames)[0].image, shots.front));
  CHECK(test::same_picture((*frames)[1].image, shots.back));
  CHECK((*frames)[0].info.exposure_s == Approx(0.25));
  CHECK(test::contains((*frames)[1].info.file, "back.tif"));
}

TEST_CASE("one file for all lenses", "[imaging][frame]") {
  CAPTURE(test::seed());
  const Shots shots;
  for (const bool across : {true, false}) {
    CAPTURE(across);
    FrameIntake intake;
    intake.layout = across ? FrameLayout::side_by_side : FrameLayout::stacked;
    const auto frames = read_shot({shots.joined(across)}, intake);
    REQUIRE(frames);
    REQUIRE(frames->size() == 2);
    CHECK(test::same_picture((*frames)[0].image, shots.front));
    CHECK(test::same_picture((*frames)[1].image, shots.back));
  }
}

TEST_CASE("split, then turn, then mirror", "[imaging][frame]") {
  CAPTURE(test::seed());
  const Shots shots;
  FrameIntake intake;
  intake.layout = FrameLayout::side_by_side;
  intake.quarter_turns = {1, 3};
  intake.mirrored = true;
  const auto frames = read_shot({shots.joined(true)}, intake);
  REQUIRE(frames);
  CHECK(test::same_picture((*frames)[0].image,
                           mirror_left_right(rotate_quarter_turns(shots.front, 1))));
  CHECK(test::same_picture((*frames)[1].image,
                           mirror_left_right(rotate_quarter_turns(shots.back, -1))));
}

TEST_CASE("frames that do not belong together are refused", "[imaging][frame]") {
  CAPTURE(test::seed());
  Shots shots;
  const auto front = shots.dir / "front.tif";
  const auto other = shots.dir / "other.tif";

  REQUIRE(
      write_image(other, test::random_image(shots.random, 31, 20, Channels::rgb, SampleType::u16)));
  CHECK(test::contains(refusal({front, other}).what, "31 × 20"));
  REQUIRE(write_image(other,
                      test::random_image(shots.random, 30, 20, Channels::grey, SampleType::u16)));
  CHECK(test::contains(refusal({front, other}).what, "1 channels"));

  std::filesystem::copy_file(front, shots.dir / "copy.tif");
  CHECK(refusal({front, shots.dir / "copy.tif"}).what == "front and back are the same picture");
  CHECK(refusal({front, front}).what == "front and back are the same picture");
  FrameIntake turned;
  turned.quarter_turns = {0, 2};
  CHECK(refusal({front, front}, turned).what == "front and back are the same picture");
  CHECK(test::contains(refusal({front, shots.dir / "back.tif", front}).what,
                       "lens 0 and lens 2 are the same picture"));
}

TEST_CASE("a declared layout that cannot be is refused", "[imaging][frame]") {
  CAPTURE(test::seed());
  const Shots shots;
  const auto front = shots.dir / "front.tif";
  FrameIntake intake;
  CHECK(refusal({}, intake).field == "frames");
  intake.quarter_turns = {1};
  CHECK(refusal({front, shots.dir / "back.tif"}, intake).field == "quarter turns");
  intake = {.layout = FrameLayout::side_by_side, .lens_count = 4, .quarter_turns = {}};
  CHECK(test::contains(refusal({front}, intake).what, "30 pixels does not divide into 4"));
  CHECK(refusal({front, front}, intake).field == "frames");
  intake.lens_count = 0;
  CHECK(refusal({front}, intake).field == "lens count");
}

TEST_CASE("files that are no pictures are refused", "[imaging][frame]") {
  CAPTURE(test::seed());
  const Shots shots;
  const auto front = shots.dir / "front.tif";
  const auto missing = read_shot({front, shots.dir / "missing.tif"}, {});
  REQUIRE_FALSE(missing);
  CHECK(missing.error().what == "no such file");
  CHECK(test::contains(missing.error().where, "missing.tif"));
  test::put_file(shots.dir / "text.tif", "front: back");
  CHECK(test::contains(refusal({front, shots.dir / "text.tif"}).what, "not a TIFF"));
  test::put_file(shots.dir / "empty.tif", "");
  CHECK(refusal({front, shots.dir / "empty.tif"}).what == "is empty");
  const auto folder = read_shot({front, shots.dir.path()}, {});
  REQUIRE_FALSE(folder);
  CHECK(folder.error().what == "is not a file");
}

}  // namespace
}  // namespace seamwright
