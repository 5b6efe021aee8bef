// A day at its worst in two commands: three bodies on one card, of the demo's rooms, with a knocked
// shot, a shot of mixed frames, and files that do not belong.

#include <algorithm>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>
#include <opencv2/imgproc.hpp>

#include "imaging/metadata.h"
#include "imaging/orient.h"
#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "templates/rig_template.h"
#include "templates/run_file.h"
#include "tests/cli/run.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using test::run;

namespace {

namespace fs = std::filesystem;
using Change = std::function<Image(Image)>;

cv::Mat view_of(Image& image) {
  const std::size_t stride =
      image.height() > 1 ? reinterpret_cast<std::uintptr_t>(image.row<std::uint16_t>(1).data()) -
                               reinterpret_cast<std::uintptr_t>(image.row<std::uint16_t>(0).data())
                         : 0;
  return {image.height(), image.width(), CV_16UC3, image.row<std::uint16_t>(0).data(), stride};
}

/// The frame of a lens that has turned about its own axis.
Image rolled(Image image, double deg) {
  const cv::Mat from = view_of(image).clone();
  const cv::Point2f middle(static_cast<float>(image.width() - 1) / 2,
                           static_cast<float>(image.height() - 1) / 2);
  cv::warpAffine(from, view_of(image), cv::getRotationMatrix2D(middle, deg, 1), from.size(),
                 cv::INTER_CUBIC, cv::BORDER_REPLICATE);
  return image;
}

/// Both circles in one picture.
Image side_by_side(const Image& left, const Image& right) {
  Image both(left.width() + right.width(), left.height(), left.channels(), SampleType::u16);
  both.icc_profile = left.icc_profile;
  for (int y = 0; y < left.height(); ++y) {
    const auto a = left.row<std::uint16_t>(y), b = right.row<std::uint16_t>(y);
    const auto row = both.row<std::uint16_t>(y);
    std::ranges::copy(b, std::ranges::copy(a, row.begin()).out);
  }
  return both;
}

/// The demo's house, photographed by three bodies onto one card.
class MixedCard {
 public:
  MixedCard() {
    REQUIRE(run({"demo", at("demo"), "--frame", "640", "--no-panoramas", "--shots", "library_1",
                 "hall_1", "--brackets", "-3", "0", "2"})
                .exit_code == 0);
    const auto truth = read_template(at("demo/truth/body.template.yaml"));
    REQUIRE(truth);
    for (const std::string serial : {"0117", "0218", "0319"}) {
      RigTemplate body = *truth;
      body.body = "Lantern " + serial;
      body.mirrored = serial == "0218";
      if (body.mirrored) body.files.quarter_turns = {1, 1};
      REQUIRE(write_template(at(serial + ".template.yaml"), body));
    }
    fill();
  }

  [[nodiscard]] std::string at(const std::string& name) const { return (dir_ / name).string(); }
  [[nodiscard]] std::string run_file() const { return at("house/house.run.yaml"); }
  [[nodiscard]] fs::path delivered(const std::string& name) const {
    return dir_ / "house/panoramas" / name;
  }
  [[nodiscard]] std::vector<std::string> import() const {
    return {"import",     at("card"),
            "--out",      at("house"),
            "--template", at("0117.template.yaml"),
            "--template", at("0218.template.yaml"),
            "--template", at("0319.template.yaml")};
  }

 private:
  [[nodiscard]] std::string demo_frame(const std::string& name, const std::string& lens) const {
    return at(fmt::format("demo/{}_{}.tif", name, lens));
  }

  /// A demo frame as a body with this serial would have written it, at a minute after nine.
  void take(const std::string& file, const std::string& from, const std::string& serial,
            const std::string& lens, int minute, const Change& changed = {}, int second = 0) const {
    auto image = read_image(from);
    const auto info = read_frame_info(from);
    REQUIRE((image && info));
    write(file, changed ? changed(std::move(*image)) : *image,
          told(*info, serial, lens, minute, second));
  }

  static FrameInfo told(FrameInfo info, const std::string& serial, const std::string& lens,
                        int minute, int second = 0) {
    info.taken_at =
        fmt::format("2024:05:14 {:02}:{:02}:{:02}", 9 + minute / 60, minute % 60, second);
    info.body_serial = serial;
    info.lens_model.reset();
    if (!lens.empty()) info.lens_model = "Lantern fisheye " + lens;
    return info;
  }

  void write(const std::string& file, const Image& image, const FrameInfo& info) const {
    const fs::path path = dir_ / "card" / file;
    fs::create_directories(path.parent_path());
    REQUIRE(write_image(path, image, {.jpeg_quality = 98, .info = info}));
  }

  void take_bracket(int number, int minute) const {
    for (int step = 1; step <= 3; ++step) {
      for (const std::string lens : {"front", "back"}) {
        take(fmt::format("DCIM/100LNT/LNT_{:04}.tif", number++),
             demo_frame(fmt::format("brackets/library_1_{}", step), lens), "0117", lens, minute, {},
             step - 1);
      }
    }
  }

  void take_single(int number, int minute, const std::string& front, const std::string& back,
                   const Change& changed_back = {}) const {
    take(fmt::format("DCIM/100LNT/LNT_{:04}.tif", number), demo_frame("frames/" + front, "front"),
         "0117", "front", minute);
    take(fmt::format("DCIM/100LNT/LNT_{:04}.tif", number + 1), demo_frame("frames/" + back, "back"),
         "0117", "back", minute, changed_back);
  }

  void fill() const {
    take_bracket(1, 0);
    // A burst of its middle step.
    for (const std::string lens : {"front", "back"}) {
      take("DCIM/101LNT/LNT_010" + std::string(lens == "front" ? "1" : "2") + ".tif",
           demo_frame("brackets/library_1_2", lens), "0117", lens, 0, {}, 3);
    }
    take_bracket(7, 10);
    fs::remove(dir_ / "card/DCIM/100LNT/LNT_0012.tif");
    take_single(13, 20, "hall_1", "hall_1");
    take_single(15, 30, "hall_1", "hall_1",
                [](Image image) { return rolled(std::move(image), 0.4); });
    take_single(17, 40, "hall_1", "library_1");
    // A frame that was cut short when the battery came out.
    take("DCIM/100LNT/LNT_0019.tif", demo_frame("frames/hall_1", "front"), "0117", "front", 130);
    const fs::path cut = dir_ / "card/DCIM/100LNT/LNT_0019.tif";
    fs::resize_file(cut, fs::file_size(cut) / 2);
    fill_other_bodies();
  }

  void fill_other_bodies() const {
    int number = 1;
    for (const std::string lens : {"front", "back"}) {
      take(fmt::format("DCIM/200LNT/LNT_{:04}.tif", number++), demo_frame("frames/hall_1", lens),
           "0218", "", 20,
           [](const Image& image) { return rotate_quarter_turns(mirror_left_right(image), -1); });
    }
    const std::string front = demo_frame("frames/hall_1", "front");
    take("PRIVATE/BODY3/PIC_7.JPG", front, "0319", "", 30, [&](const Image& left) {
      const auto right = read_image(demo_frame("frames/hall_1", "back"));
      REQUIRE(right);
      return side_by_side(left, *right);
    });
    // Two strays of other cameras.
    FrameInfo stray;
    stray.body_make = "Pocket";
    stray.body_model = "Pocket One";
    stray.taken_at = "2024:05:14 09:41:00";
    write("DCIM/Camera/IMG_1.jpg", Image(200, 150, Channels::rgb, SampleType::u8), stray);
    stray.body_model = "Pocket Two";
    write("IMG_2.jpg", Image(300, 150, Channels::rgb, SampleType::u8), stray);
  }

  test::ScratchDir dir_;
};

/// Mean difference of two panoramas of one size, in codes of 8 bits.
double apart(const fs::path& a_file, const fs::path& b_file) {
  const auto a = read_image(a_file), b = read_image(b_file);
  REQUIRE((a && b));
  REQUIRE(a->width() == b->width());
  double sum = 0;
  for (int y = 0; y < a->height(); ++y) {
    const auto row_a = a->row<std::uint16_t>(y), row_b = b->row<std::uint16_t>(y);
    for (std::size_t i = 0; i < row_a.size(); ++i) sum += std::abs(row_a[i] - row_b[i]);
  }
  return sum / (3.0 * a->width() * a->height()) / 257;
}

}  // namespace

TEST_CASE("of a card with everything on it, two commands deliver what is good and name the rest",
          "[day]") {
  if (test::program().empty()) return;
  const MixedCard card;
  const auto imported = run(card.import());
  INFO(imported.err);
  REQUIRE(imported.exit_code == 2);
  CHECK_THAT(imported.err, Catch::Contains("2024-05-14_091000: lacks the +2.0 EV step") &&
                               Catch::Contains("LNT_0019.tif: is damaged or cut short") &&
                               Catch::Contains("IMG_1.jpg: nothing was taken with it") &&
                               Catch::Contains("IMG_2.jpg: none of the templates fits") &&
                               Catch::Contains("7 shots, 7 of them new") &&
                               !Catch::Contains("where most series have"));

  const auto made = run({"restitch", card.run_file(), "--page", card.at("page.html"), "--json"});
  INFO(made.err);
  CHECK(made.exit_code == 2);
  CHECK_THAT(made.err, Catch::Contains("6 stitched, 0 done before, 1 failed") &&
                           Catch::Contains("2024-05-14_094000: failed: 2024-05-14_094000: the "
                                           "frames are not of one shot") &&
                           Catch::Contains("2024-05-14_093000: note: the body was knocked"));
  for (const char* name : {"2024-05-14_090000", "2024-05-14_091000", "2024-05-14_092000",
                           "2024-05-14_092000_2", "2024-05-14_093000", "2024-05-14_093000_2"}) {
    CAPTURE(name);
    for (const char* ending : {".tif", ".jpg", "-tiles/tiles.json"}) {
      CHECK(fs::exists(card.delivered(std::string(name) + ending)));
    }
  }
  CHECK_FALSE(fs::exists(card.delivered("2024-05-14_094000.tif")));
  // One room through three bodies: mirrored files show the very same; a knock that was touched
  // leaves next to nothing of it.
  const fs::path right = card.delivered("2024-05-14_092000.tif");
  CHECK(apart(right, card.delivered("2024-05-14_092000_2.tif")) == 0);
  CHECK(apart(right, card.delivered("2024-05-14_093000_2.tif")) < 3);  // JPEG, of eight bits
  const double mended = apart(right, card.delivered("2024-05-14_093000.tif"));
  CHECK(mended < 1.5);
  // The page judges the knocked shot as it was stitched.
  for (const auto& shot : made.json().at("checked")) {
    if (shot.at("name") != "2024-05-14_093000") continue;
    for (const auto& finding : shot.at("findings")) CHECK(finding.at("kind") != "misaligned");
  }
  REQUIRE(run({"stitch", "--template", card.at("0117.template.yaml"), "--no-touch", "--level",
               card.at("house/frames/DCIM/100LNT/LNT_0015.tif"),
               card.at("house/frames/DCIM/100LNT/LNT_0016.tif"), "--cover-deg", "18", "--out",
               card.at("left.tif")})
              .exit_code == 2);
  CHECK(apart(right, card.at("left.tif")) > 1.5 * mended);
  CHECK_THAT(run({"restitch", card.run_file()}).err, Catch::Contains("0 stitched, 6 done before"));
}
