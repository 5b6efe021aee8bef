#include <cstdint>
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <tiffio.h>

#include "base/file.h"
#include "imaging/read_image.h"
#include "imaging/transfer.h"
#include "imaging/write_image.h"
#include "tests/cli/run.h"
#include "tests/support/edited.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using test::check_refused;
using test::edited;
using test::get_file;
using test::put_file;
using test::run;
using test::ScratchDir;
using test::SmallShot;

TEST_CASE("stitch writes a panorama and answers in JSON") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const auto ran = run(shot.stitch(shot.at("pano.tif"), {"--jpeg", shot.at("pano.jpg"), "--json"}));
  INFO(ran.err);
  REQUIRE(ran.exit_code == 0);
  const auto answer = ran.json();
  CHECK(answer["width_px"] == 256);
  CHECK(answer["height_px"] == 128);
  CHECK(answer["unseen_px"] == 0);
  CHECK(answer["findings"].empty());
  CHECK(answer["gains"].size() == 2);
  const auto header = read_image_header(shot.at("pano.tif"));
  REQUIRE(header);
  CHECK(header->width == 256);
  CHECK(header->bits_per_sample == 16);
  CHECK(read_image_header(shot.at("pano.jpg")));

  // Not a terminal: no progress bar, only the summary.
  const auto plain = run(shot.stitch(shot.at("again.tif")));
  CHECK(plain.exit_code == 0);
  CHECK(plain.out.empty());
  CHECK(plain.err.find('\r') == std::string::npos);
  CHECK(get_file(shot.at("again.tif")) == get_file(shot.at("pano.tif")));
}

TEST_CASE("stitch gives the same bytes from one file, from a shot file and with one thread") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  REQUIRE(run(shot.stitch(shot.at("a.png"))).exit_code == 0);
  const auto same = [&](std::vector<std::string> arguments, const std::string& out) {
    arguments.insert(arguments.end(), {"--width", "256", "--out", shot.at(out)});
    const auto ran = run(arguments);
    INFO(ran.err);
    REQUIRE(ran.exit_code == 0);
    const auto expected = read_image(shot.at("a.png"));
    const auto actual = read_image(shot.at(out));
    REQUIRE(expected);
    REQUIRE(actual);
    CHECK(std::equal(expected->bytes().begin(), expected->bytes().end(), actual->bytes().begin(),
                     actual->bytes().end()));
  };
  same({"stitch", "--template", shot.template_file(), shot.at("both.tif")}, "b.png");
  shot.write_shot("room.shot.yaml", TemplateReference{"T.template.yaml", {}});
  same({"stitch", "--template", shot.template_file(), shot.at("room.shot.yaml")}, "c.png");
  same({"stitch", shot.at("room.shot.yaml")}, "c2.png");
  same({"stitch", "--template", shot.template_file(), shot.front(), shot.back(), "--threads", "1"},
       "d.png");
}

TEST_CASE("stitch --width native says so, wider says that no more detail exists") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  auto ran = run({"stitch", "--template", shot.template_file(), shot.front(), shot.back(), "--out",
                  shot.at("n.tif"), "--width", "native", "--json"});
  REQUIRE(ran.exit_code == 0);
  const int native = ran.json()["native_width_px"];
  CHECK(ran.json()["width_px"] == native);
  ran = run({"stitch", "--template", shot.template_file(), shot.front(), shot.back(), "--out",
             shot.at("w.tif"), "--width", std::to_string(native + 64)});
  CHECK(ran.exit_code == 0);
  CHECK_THAT(ran.err, Catch::Contains("no more detail"));
}

TEST_CASE("stitch --save-ribbon shows what the seams were chosen from") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path(), 320);  // smaller frames have no ribbon
  const auto ran =
      run(shot.stitch(shot.at("p.tif"), {"--save-ribbon", shot.at("ribbon"), "--json"}));
  INFO(ran.err);
  REQUIRE(ran.exit_code == 0);
  CHECK(ran.json()["seam"] == "depth");
  const auto depth = read_image(shot.at("ribbon/lens0-lens1.depth.tif"));
  REQUIRE(depth);
  CHECK(depth->type() == SampleType::f32);
  for (const char* name : {"infinity-0.png", "infinity-1.png", "warped-0.png", "warped-1.png",
                           "depth.png", "seam.png"}) {
    CAPTURE(name);
    const auto picture = read_image_header(shot.at(std::string("ribbon/lens0-lens1.") + name));
    REQUIRE(picture);
    CHECK(picture->width == depth->width());
    CHECK(picture->height == depth->height());
  }
  CHECK(run(shot.stitch(shot.at("q.tif"), {"--seam", "plain", "--json"})).json()["seam"] ==
        "plain");
  check_refused(
      run(shot.stitch(shot.at("r.tif"), {"--seam", "plain", "--save-ribbon", shot.at("ribbon")})),
      "--save-ribbon");
  put_file(shot.at("file"), "x");
  check_refused(run(shot.stitch(shot.at("r.tif"), {"--save-ribbon", shot.at("file/ribbon")})),
                "--save-ribbon");
  CHECK_FALSE(std::filesystem::exists(shot.at("r.tif")));
}

TEST_CASE("stitch says where frames are too small for depth seams") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  CHECK_THAT(run(shot.stitch(shot.at("p.tif"))).err, Catch::Contains("as if everything were far"));
}

TEST_CASE("stitch never writes over its own frames, nor twice to one file") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const std::string before = get_file(shot.front());
  check_refused(run(shot.stitch(shot.front())), "--out");
  check_refused(run(shot.stitch(shot.at("../" + scratch.path().filename().string() + "/" +
                                        std::filesystem::path(shot.front()).filename().string()))),
                "files that this is made from");
  check_refused(run(shot.stitch(shot.at("p.tif"), {"--layers", shot.at("p.tif")})),
                "the file of --out as well");
  shot.write_shot("room.shot.yaml", TemplateReference{"T.template.yaml", {}});
  check_refused(run({"stitch", shot.at("room.shot.yaml"), "--out", shot.front()}), "--out");
  std::filesystem::create_hard_link(shot.front(), shot.at("link.tif"));
  check_refused(run(shot.stitch(shot.at("link.tif"))), "--out");
  CHECK(get_file(shot.front()) == before);
}

TEST_CASE("stitch follows the strokes of a shot file, and says where it cannot") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path(), 320);
  shot.write_shot("room.shot.yaml", TemplateReference{"T.template.yaml", {}});
  const auto with_seam = [&](const std::string& seam, const std::string& out) {
    auto read = read_shot_file(shot.at("room.shot.yaml"));
    REQUIRE(read);
    std::string text = edited(format_shot_file(*read), "version: 1", "version: 3") + seam;
    put_file(shot.at("stroked.shot.yaml"), text);
    return run({"stitch", shot.at("stroked.shot.yaml"), "--width", "640", "--out", shot.at(out),
                "--layers", shot.at(out + ".layers.tif"), "--json"});
  };
  const auto free = with_seam("", "free.tif");
  INFO(free.err);
  REQUIRE(free.exit_code == 0);
  // Lens 1 is wanted to the right, where lens 0 would have been taken.
  const auto stroked =
      with_seam("seam:\n  - {wish: lens, lens: 1, reach_deg: 3, path_deg: [[87, -8], [87, 8]]}\n",
                "stroked.tif");
  INFO(stroked.err);
  REQUIRE(stroked.exit_code == 0);
  const auto share_of_lens_1 = [&](const std::string& out) {
    TIFF* tiff = TIFFOpen(shot.at(out + ".layers.tif").c_str(), "r");
    REQUIRE(tiff != nullptr);
    TIFFSetDirectory(tiff, 3);  // the masks follow the pictures
    std::vector<std::uint16_t> row(640);
    double share = 0;
    for (std::uint32_t y = 0; y < 320; ++y) {
      REQUIRE(TIFFReadScanline(tiff, row.data(), y) == 1);
      if (y < 150 || y >= 170) continue;
      for (std::size_t x = 472; x < 477; ++x) share += row[x] / (65535.0 * 100);
    }
    TIFFClose(tiff);
    return share;
  };
  CHECK(share_of_lens_1("free.tif") < 0.2);
  CHECK(share_of_lens_1("stroked.tif") > 0.95);
  // All of the ring at some azimuth: there is no way round.
  const auto walled = with_seam(
      "seam:\n  - {wish: away, reach_deg: 4, path_deg: [[60, 0], [120, 0]]}\n", "walled.tif");
  CHECK(walled.exit_code == 2);
  CHECK_THAT(walled.json()["findings"].dump(), Catch::Contains("keep off"));
}

TEST_CASE("stitch --layers gives what the panorama is made of") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path(), 320);
  const auto ran = run(shot.stitch(shot.at("p.tif"), {"--layers", shot.at("l.tif"), "--json"}));
  INFO(ran.err);
  REQUIRE(ran.exit_code == 0);
  CHECK(ran.json()["layers"] == shot.at("l.tif"));
  std::vector<Image> pages;
  std::vector<std::string> names;
  TIFF* tiff = TIFFOpen(shot.at("l.tif").c_str(), "r");
  REQUIRE(tiff);
  do {
    std::uint16_t samples = 0;
    const char* name = nullptr;
    TIFFGetField(tiff, TIFFTAG_SAMPLESPERPIXEL, &samples);
    TIFFGetField(tiff, TIFFTAG_PAGENAME, &name);
    names.emplace_back(name == nullptr ? "" : name);
    Image page(256, 128, samples == 4 ? Channels::rgba : Channels::grey, SampleType::u16);
    for (std::uint32_t y = 0; y < 128; ++y) {
      REQUIRE(TIFFReadScanline(tiff, page.row<std::uint16_t>(static_cast<int>(y)).data(), y, 0) ==
              1);
    }
    pages.push_back(std::move(page));
  } while (TIFFReadDirectory(tiff) == 1);
  TIFFClose(tiff);
  REQUIRE(names == std::vector<std::string>{"lens 0", "lens 1", "mask 0", "mask 1"});

  const auto panorama = read_image(shot.at("p.tif"));
  REQUIRE(panorama);
  double worst = 0;
  for (int y = 0; y < 128; ++y) {
    for (std::size_t x = 0; x < 256; ++x) {
      double light = 0;
      int masks = 0;
      for (std::size_t lens = 0; lens < 2; ++lens) {
        const auto pixel = pages[lens].row<std::uint16_t>(y).subspan(4 * x, 4);
        const int mask = pages[2 + lens].row<std::uint16_t>(y)[x];
        masks += mask;
        if (mask > 0) CHECK(pixel[3] == 65535);
        light += mask / 65535.0 * srgb_to_linear(pixel[1] / 65535.0);
      }
      CHECK(std::abs(masks - 65535) <= 1);
      const double code = panorama->row<std::uint16_t>(y)[3 * x + 1];
      worst = std::max(worst, std::abs(65535 * linear_to_srgb(light) - code));
    }
  }
  CHECK(worst < 3);  // roundings of three 16-bit codes
}

TEST_CASE("stitch --layers has a page of the glow that was taken off") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path(), 320);
  const auto ran = run(shot.stitch(
      shot.at("p.tif"), {"--layers", shot.at("l.tif"), "--glow-removal", "1", "--json"}));
  INFO(ran.err);
  REQUIRE(ran.exit_code == 0);
  TIFF* tiff = TIFFOpen(shot.at("l.tif").c_str(), "r");
  REQUIRE(tiff);
  REQUIRE(TIFFSetDirectory(tiff, 4) == 1);
  std::uint32_t width = 0;
  const char* name = nullptr;
  TIFFGetField(tiff, TIFFTAG_IMAGEWIDTH, &width);
  TIFFGetField(tiff, TIFFTAG_PAGENAME, &name);
  CHECK(width == 256);
  CHECK(std::string(name == nullptr ? "" : name) == "glow");
  CHECK(TIFFReadDirectory(tiff) == 0);
  TIFFClose(tiff);
}

TEST_CASE("stitch finishes with findings where a lens is black") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  REQUIRE(write_image(shot.back(), Image(160, 160, Channels::rgb, SampleType::u16)));
  const auto ran = run(shot.stitch(shot.at("p.tif"), {"--json"}));
  CHECK(ran.exit_code == 2);
  CHECK(ran.json()["findings"].size() == 2);  // nothing to tell the fit by, nor the brightness
  CHECK_THAT(ran.err, Catch::Contains("finding: "));
  CHECK(std::filesystem::exists(shot.at("p.tif")));
}

TEST_CASE("frames of linear light are shown through the display curve, and their light is kept") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const auto light_of = [&](const std::string& file) {
    const auto picture = read_image(file);
    REQUIRE(picture);
    Image light(picture->width(), picture->height(), picture->channels(), SampleType::f32);
    for (int y = 0; y < light.height(); ++y) {
      const auto codes = picture->row<std::uint16_t>(y);
      const auto row = light.row<float>(y);
      for (std::size_t i = 0; i < row.size(); ++i) {
        row[i] = static_cast<float>(srgb_to_linear(codes[i] / 65535.0));
      }
    }
    light.transfer = Transfer::linear;
    const std::string linear = file + ".light.tif";
    REQUIRE(write_image(linear, light));
    return linear;
  };
  const std::string front = light_of(shot.front()), back = light_of(shot.back());
  const auto stitch = [&](const std::string& a, const std::string& b, const std::string& name,
                          std::vector<std::string> more) {
    std::vector<std::string> words = {"stitch",
                                      "--template",
                                      shot.template_file(),
                                      a,
                                      b,
                                      "--out",
                                      shot.at(name),
                                      "--width",
                                      "256",
                                      "--seam",
                                      "plain"};
    words.insert(words.end(), more.begin(), more.end());
    const auto ran = run(words);
    INFO(ran.err);
    CHECK(ran.exit_code == 0);
    auto image = read_image(shot.at(name));
    REQUIRE(image);
    return std::move(*image);
  };
  const Image shown = stitch(front, back, "shown.tif", {"--light", shot.at("light.tif")});
  const Image coded = stitch(shot.front(), shot.back(), "coded.tif", {});
  const auto light = read_image(shot.at("light.tif"));
  REQUIRE(light);
  // A picture for displays in 16 bits, whose colours the sRGB curve codes …
  CHECK(shown.type() == SampleType::u16);
  CHECK_FALSE(TransferCurve::of(shown)->is_linear());
  // By its brightness alone where no look is asked for: off or not is one key for single frames.
  stitch(front, back, "off.tif", {"--look", "off"});
  stitch(front, back, "look.tif", {"--look", "shot"});
  CHECK(test::pixels_of(shot.at("off.tif")) == test::pixels_of(shot.at("shown.tif")));
  CHECK(test::pixels_of(shot.at("look.tif")) != test::pixels_of(shot.at("shown.tif")));
  // … and the light as it was: that of the same frames coded.
  REQUIRE(light->type() == SampleType::f32);
  double worst = 0;
  for (int y = 0; y < light->height(); ++y) {
    const auto row = light->row<float>(y);
    const auto codes = coded.row<std::uint16_t>(y);
    for (std::size_t i = 0; i < row.size(); ++i) {
      worst = std::max(worst,
                       std::abs(static_cast<double>(row[i]) - srgb_to_linear(codes[i] / 65535.0)));
    }
  }
  CHECK(worst < 1e-3);  // coded frames are interpolated as codes
}
