#include <algorithm>
#include <cmath>
#include <filesystem>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "imaging/metadata.h"
#include "imaging/read_image.h"
#include "imaging/transfer.h"
#include "imaging/write_image.h"
#include "tests/cli/brackets_of_a_shot.h"
#include "tests/cli/run.h"
#include "tests/imaging/dng.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using test::exposed;
using test::info_of;
using test::kSteps_ev;
using test::run;
using test::take_brackets;

TEST_CASE("merge groups a card, merges it and tells what it did") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  const std::string card = take_brackets(shot);

  const auto listed = run({"merge", card, "--list", "--json"});
  REQUIRE(listed.exit_code == 0);
  const auto groups = listed.json().at("groups");
  REQUIRE(groups.size() == 1);
  CHECK(groups[0].at("shot") == "room");
  REQUIRE(groups[0].at("lenses").size() == 2);
  CHECK(groups[0].at("lenses")[0].at("lens") == "Lantern fisheye front");
  CHECK(groups[0].at("lenses")[0].at("steps").size() == 3);
  CHECK_FALSE(std::filesystem::exists(dir / "merged"));

  const std::string out = (dir / "merged").string();
  const auto merged = run({"merge", card, "--out", out, "--display", "--json"});
  REQUIRE((merged.exit_code == 0 || merged.exit_code == 2));
  REQUIRE(merged.json().at("merged").size() == 2);
  const auto light = read_image(out + "/room_front.tif");
  REQUIRE(light);
  CHECK(light->type() == SampleType::f32);
  const auto info = read_frame_info(out + "/room_front.tif");
  REQUIRE(info);
  CHECK(info->exposure_s == Approx(0.125));
  const auto shown = read_image(out + "/room_back_display.tif");
  REQUIRE(shown);
  CHECK(shown->type() == SampleType::u16);

  const auto as_exr = run({"merge", card, "--out", out, "--format", "exr", "--json"});
  REQUIRE((as_exr.exit_code == 0 || as_exr.exit_code == 2));
  CHECK(test::get_file(out + "/room_front.exr")
            .starts_with("\x76\x2f\x31\x01"));  // OpenEXR's magic number

  // Light is that of the picture it was made of.
  const auto truth = read_image(shot.front());
  REQUIRE(truth);
  double worst = 0;
  int compared = 0;
  for (int y = 0; y < truth->height(); ++y) {
    const auto a = truth->row<std::uint16_t>(y);
    const auto b = light->row<float>(y);
    for (std::size_t i = 0; i < a.size(); ++i) {
      const double expected = 0.9 * srgb_to_linear(a[i] / 65535.0);
      if (expected < 0.01) continue;
      worst = std::max(worst, std::abs(static_cast<double>(b[i]) / expected - 1));
      ++compared;
    }
  }
  CHECK(compared > 10000);
  CHECK(worst < 0.005);
}

TEST_CASE("stitch takes the brackets of a shot") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  const std::string card = take_brackets(shot);
  const std::string out = (dir / "room.tif").string();
  const auto ran = run({"stitch", "--template", shot.template_file(), card, "--out", out, "--light",
                        (dir / "light.tif").string(), "--jpeg", (dir / "room.jpg").string(),
                        "--width", "256", "--json"});
  INFO(ran.err);
  REQUIRE((ran.exit_code == 0 || ran.exit_code == 2));
  CHECK(ran.json().at("brackets").size() == 2);
  CHECK_THAT(ran.err, Catch::Contains("-3.0 +0.0 +2.0"));
  const auto header = read_image_header(out);
  REQUIRE(header);
  CHECK(header->type == SampleType::u16);
  CHECK(header->width == 256);
  const auto light = read_image_header(dir / "light.tif");
  REQUIRE(light);
  CHECK(light->type == SampleType::f32);
  CHECK_THAT(test::get_file(dir / "room.jpg"), Catch::Contains("GPano:ProjectionType"));
  // The same without keeping the light leaves no more files behind.
  std::filesystem::remove(dir / "light.tif");
  const int before = dir.entry_count();
  const auto again =
      run({"stitch", "--template", shot.template_file(), card, "--out", out, "--width", "256"});
  REQUIRE((again.exit_code == 0 || again.exit_code == 2));
  CHECK(dir.entry_count() == before);
  // Covered, with a smaller JPEG, turned: as single frames are.
  const std::string uncovered = test::pixels_of(out);
  const auto covered =
      run({"stitch", "--template", shot.template_file(), card, "--out", out, "--width", "256",
           "--cover-deg", "15", "--jpeg", (dir / "small.jpg").string(), "--jpeg-width", "128",
           "--compass-deg", "90"});
  INFO(covered.err);
  REQUIRE((covered.exit_code == 0 || covered.exit_code == 2));
  CHECK(read_image_header(dir / "small.jpg")->width == 128);
  CHECK(test::pixels_of(out).substr(0, 6 * 256 * 100) == uncovered.substr(0, 6 * 256 * 100));
  CHECK(test::pixels_of(out) != uncovered);
  CHECK((*read_panorama_info(out))->heading_deg == Approx(90));
  const auto same_file = run({"stitch", "--template", shot.template_file(), card, "--out", out,
                              "--width", "256", "--light", out});
  CHECK(same_file.exit_code == 1);
  CHECK_THAT(same_file.err, Catch::Contains("--light"));
  test::put_file(dir / "room.tif.light.tif", "a note of mine");
  CHECK(run({"stitch", "--template", shot.template_file(), card, "--out", out, "--width", "256"})
            .exit_code != 1);
  CHECK(test::get_file(dir / "room.tif.light.tif") == "a note of mine");
}

TEST_CASE("stitch takes the brackets that a shot file writes down") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  take_brackets(shot);
  const auto files = [](const std::string& lens, const std::string& third) {
    std::string list;
    for (int i = 0; i < 3; ++i) {
      list += fmt::format("  {} - {{file: \"card/room_{}_{}.tif\"{}}}\n", i == 0 ? "-" : " ", i + 1,
                          lens, i == 2 ? third : "");
    }
    return list;
  };
  const auto text = [&](const std::string& third) {
    return "format: seamwright-shot\nversion: 4\n"
           "frames: [\"card/room_2_front.tif\", \"card/room_2_back.tif\"]\n"
           "layout: one-per-file\nlens_count: 2\nquarter_turns: []\nmirrored: false\n"
           "brackets:\n" +
           files("front", third) + files("back", third);
  };
  const std::string shot_file = shot.at("room.shot.yaml");
  test::put_file(shot_file, text(""));
  const auto stitch = [&](const std::string& what, const std::string& out) {
    return run(
        {"stitch", "--template", shot.template_file(), what, "--out", out, "--width", "256"});
  };
  const auto written = stitch(shot_file, (dir / "written.tif").string());
  INFO(written.err);
  REQUIRE((written.exit_code == 0 || written.exit_code == 2));
  // The same light as from the folder, grouped by EXIF.
  REQUIRE(stitch(shot.at("card"), (dir / "card.tif").string()).exit_code == written.exit_code);
  CHECK(test::pixels_of((dir / "written.tif").string()) ==
        test::pixels_of((dir / "card.tif").string()));

  test::put_file(shot_file, text(", ev: 2"));
  test::check_refused(stitch(shot_file, (dir / "no.tif").string()), "'ev' stands at 1 of 3");
  test::put_file(shot_file, text(""));
  test::check_refused(stitch(shot_file, shot.at("card/room_1_back.tif")),
                      "files that this is made from");
  std::filesystem::remove(shot.at("card/room_1_back.tif"));
  test::check_refused(stitch(shot_file, (dir / "no.tif").string()), "room_1_back.tif");
}

TEST_CASE("raw brackets are merged and stitched as the same frames in TIFF are") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  std::filesystem::create_directory(dir / "raw");
  std::filesystem::create_directory(dir / "tif");
  for (const std::string lens : {"front", "back"}) {
    const auto picture = read_image(shot.at(lens + ".tif"));
    REQUIRE(picture);
    for (const double ev : kSteps_ev) {
      const double factor = 0.9 * std::exp2(ev);
      const std::string name = fmt::format("room_{}_{:+.0f}", lens, ev);
      REQUIRE(write_image(dir / "tif" / (name + ".tif"), exposed(*picture, factor)));
      test::write_dng(dir / "raw" / (name + ".dng"), picture->width(), picture->height(),
                      [&](int x, int y, std::size_t channel) {
                        const auto code = picture->row<std::uint16_t>(
                            y)[3 * static_cast<std::size_t>(x) + channel];
                        return factor * srgb_to_linear(code / 65535.0) *
                               static_cast<double>(test::kDngNeutral[channel]);
                      });
    }
  }
  const auto light_of = [&](const std::string& kind) {
    const auto ran = run({"stitch", "--template", shot.template_file(), (dir / kind).string(),
                          "--out", (dir / (kind + ".tif")).string(), "--light",
                          (dir / (kind + "_light.tif")).string(), "--width", "256", "--pattern",
                          fmt::format("(?<shot>room)_(?<lens>front|back)_(?<ev>[-+]\\d)[.]{}",
                                      kind == "raw" ? "dng" : "tif")});
    INFO(ran.err);
    REQUIRE((ran.exit_code == 0 || ran.exit_code == 2));
    auto light = read_image(dir / (kind + "_light.tif"));
    REQUIRE(light);
    return std::move(*light);
  };
  const Image raw = light_of("raw");
  const Image tif = light_of("tif");
  // Rec. ITU-R BT.2087-0 prints this matrix for BT.709 in BT.2020, raw's working space.
  constexpr double kWide[3][3] = {
      {0.6274, 0.3293, 0.0433}, {0.0691, 0.9195, 0.0114}, {0.0164, 0.0880, 0.8956}};
  double square = 0, energy = 0;
  for (int y = 32; y < 96; ++y) {
    const auto a = raw.row<float>(y);
    const auto b = tif.row<float>(y);
    for (std::size_t x = 0; x < 256; ++x) {
      for (std::size_t c = 0; c < 3; ++c) {
        double wide = 0;
        for (std::size_t k = 0; k < 3; ++k) wide += kWide[c][k] * static_cast<double>(b[3 * x + k]);
        const double off = static_cast<double>(a[3 * x + c]) - wide;
        square += off * off;
        energy += wide * wide;
      }
    }
  }
  // What filling the mosaic of frames of 160 px costs at waves of 8 px: 0.0225.
  const double share = std::sqrt(square / energy);
  CAPTURE(share);
  CHECK(share < 0.025);
}

TEST_CASE("merge refuses what does not belong together in one line") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  const std::string card = take_brackets(shot);
  const std::string out = (dir / "merged").string();
  const auto refused = [](const test::Ran& ran, const std::string& needle) {
    CHECK(ran.exit_code == 1);
    CHECK(ran.out.empty());
    CHECK_THAT(ran.err, Catch::Contains(needle));
  };
  test::check_refused(run({"merge", card}), "--out");
  test::check_refused(run({"merge", (dir / "nowhere").string(), "--out", out}), "no such file");
  test::check_refused(run({"merge", card, "--out", out, "--pattern", "(?<room>.+)"}), "room");

  // EXIF absent.
  test::check_refused(run({"merge", shot.at("both.tif"), "--out", out}), "no date and time");
  // A library knows the setting, the program its option.
  CHECK_THAT(run({"merge", shot.at("both.tif"), "--out", out}).err,
             Catch::Contains("by --pattern with") && Catch::Contains("by --frames-per-shot"));
  // A missing bracket, and without the check.
  std::filesystem::remove(card + "/room_3_back.tif");
  test::check_refused(run({"merge", card, "--out", out}),
                      "lacks the +2.0 EV step: nothing is there beside room_3_front.tif");
  CHECK(run({"merge", card, "--list", "--allow-missing"}).exit_code == 0);
  // Another body.
  FrameInfo other = info_of(2, 2, "back");
  other.body_model = "Lantern Six";
  const auto picture = read_image(shot.back());
  REQUIRE(picture);
  REQUIRE(write_image(card + "/room_3_back.tif", exposed(*picture, 1), {.info = other}));
  test::check_refused(run({"merge", card, "--out", out}), "Lantern Six");
  std::filesystem::remove(card + "/room_3_back.tif");
  // Clipped everywhere.
  const Image white = exposed(*picture, 1e9);
  Image all_white = white;
  std::fill(all_white.bytes().begin(), all_white.bytes().end(), std::byte{0xFF});
  for (int i = 0; i < 2; ++i) {
    REQUIRE(write_image(fmt::format("{}/white_{}.tif", dir.path().string(), i), all_white,
                        {.info = info_of(i, kSteps_ev[i], "front")}));
  }
  refused(
      run({"merge", (dir / "white_0.tif").string(), (dir / "white_1.tif").string(), "--out", out}),
      "of the shortest exposure is clipped");
}
