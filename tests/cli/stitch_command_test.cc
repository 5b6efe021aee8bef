#include <cstdint>
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <sys/mount.h>
#include <tiffio.h>

#include "base/file.h"
#include "imaging/read_image.h"
#include "imaging/transfer.h"
#include "imaging/write_image.h"
#include "tests/cli/run.h"
#include "tests/support/scratch_dir.h"
#include "tests/support/skip.h"

using namespace seamwright;
using test::check_refused;
using test::get_file;
using test::put_file;
using test::run;
using test::ScratchDir;
using test::SmallShot;

namespace {

// The shot's four files and nothing else.
void check_nothing_left(const ScratchDir& scratch, int more = 0) {
  CHECK(scratch.entry_count() == 4 + more);
}

std::string replaced(std::string text, const std::string& what, const std::string& with) {
  const auto at = text.find(what);
  REQUIRE(at != std::string::npos);
  return text.replace(at, what.size(), with);
}

}  // namespace

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
    std::string text = replaced(format_shot_file(*read), "version: 1", "version: 3") + seam;
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

TEST_CASE("stitch refuses frames it cannot use, and leaves nothing") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const std::string out = shot.at("pano.tif");

  SECTION("missing") {
    std::filesystem::remove(shot.back());
    check_refused(run(shot.stitch(out)), "back.tif");
    check_nothing_left(scratch, -1);
  }
  SECTION("truncated") {
    const std::string bytes = get_file(shot.back());
    put_file(shot.back(), bytes.substr(0, bytes.size() / 2));
    check_refused(run(shot.stitch(out)), "back.tif");
    check_nothing_left(scratch);
  }
  SECTION("empty") {
    put_file(shot.front(), "");
    check_refused(run(shot.stitch(out)), "front.tif");
    check_nothing_left(scratch);
  }
  SECTION("no picture at all") {
    put_file(shot.front(), "This is a letter, not a picture.");
    check_refused(run(shot.stitch(out)), "front.tif");
    check_nothing_left(scratch);
  }
  SECTION("wrong channel count") {
    REQUIRE(write_image(shot.back(), Image(160, 160, Channels::grey, SampleType::u16)));
    check_refused(run(shot.stitch(out)), "channels");
    check_nothing_left(scratch);
  }
  SECTION("different size") {
    REQUIRE(write_image(shot.back(), Image(170, 170, Channels::rgb, SampleType::u16)));
    check_refused(run(shot.stitch(out)), "back.tif");
    check_nothing_left(scratch);
  }
  SECTION("two identical frames") {
    std::filesystem::copy_file(shot.front(), shot.back(),
                               std::filesystem::copy_options::overwrite_existing);
    check_refused(run(shot.stitch(out)), "same picture");
    check_nothing_left(scratch);
  }
  SECTION("another frame shape than the template's") {
    for (const auto& [name, code] : {std::pair{"front.tif", 1000}, std::pair{"back.tif", 2000}}) {
      Image wide(320, 160, Channels::rgb, SampleType::u16);
      for (auto& sample : wide.row<std::uint16_t>(80)) sample = static_cast<std::uint16_t>(code);
      REQUIRE(write_image(shot.at(name), wide));
    }
    check_refused(run(shot.stitch(out)), "160 x 160");
    check_nothing_left(scratch);
  }
  SECTION("too many") {
    check_refused(run(shot.stitch(out, {shot.front()})), "3 files");
    check_nothing_left(scratch);
  }
  SECTION("a side-by-side file that does not divide") {
    REQUIRE(write_image(shot.at("both.tif"), Image(321, 160, Channels::rgb, SampleType::u16)));
    check_refused(
        run({"stitch", "--template", shot.template_file(), shot.at("both.tif"), "--out", out}),
        "divide");
    check_nothing_left(scratch);
  }
}

TEST_CASE("stitch refuses a template it cannot trust, with its line") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const std::string yaml = get_file(shot.template_file());
  const std::string out = shot.at("pano.tif");
  SECTION("missing") {
    std::filesystem::remove(shot.template_file());
    check_refused(run(shot.stitch(out)), "T.template.yaml");
    check_nothing_left(scratch, -1);
    return;
  }
  SECTION("unknown key") {
    put_file(shot.template_file(), yaml + "favourite_colour: mauve\n");
    check_refused(run(shot.stitch(out)), "favourite_colour");
  }
  SECTION("NaN") {
    const auto at = yaml.find("focal_px:");
    REQUIRE(at != std::string::npos);
    put_file(shot.template_file(),
             yaml.substr(0, at) + "focal_px: .nan" + yaml.substr(yaml.find('\n', at)));
    const auto ran = run(shot.stitch(out));
    check_refused(ran, "focal_px");
    CHECK_THAT(ran.err, Catch::Contains("T.template.yaml:"));
  }
  SECTION("not YAML") {
    put_file(shot.template_file(), "{[}");
    check_refused(run(shot.stitch(out)), "T.template.yaml");
  }
  SECTION("a newer version") {
    put_file(shot.template_file(), replaced(yaml, "version: 5", "version: 99"));
    check_refused(run(shot.stitch(out)), "version");
  }
  check_nothing_left(scratch);
}

TEST_CASE("stitch refuses outputs it cannot write, and leaves nothing") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  SECTION("missing folder") { check_refused(run(shot.stitch(shot.at("no/p.tif"))), "folder"); }
  SECTION("a folder in the file's place") {
    std::filesystem::create_directory(scratch / "p.tif");
    check_refused(run(shot.stitch(shot.at("p.tif"))), "is a folder");
    std::filesystem::remove(scratch / "p.tif");
  }
  SECTION("a read-only file system") { check_refused(run(shot.stitch("/proc/p.tif")), "/proc"); }
  SECTION("a suffix that says nothing") {
    check_refused(run(shot.stitch(shot.at("pano"))), ".tif");
  }
  SECTION("odd width") {
    check_refused(run({"stitch", "--template", shot.template_file(), shot.front(), shot.back(),
                       "--out", shot.at("p.tif"), "--width", "257"}),
                  "--width: 257 px is not an even");
  }
  SECTION("no width") {
    check_refused(run({"stitch", "--template", shot.template_file(), shot.front(), shot.back(),
                       "--out", shot.at("p.tif"), "--width", "huge"}),
                  "huge");
  }
  SECTION("the old file survives a failure") {
    REQUIRE(write_file(shot.at("p.tif"), "old"));
    REQUIRE(write_image(shot.back(), Image(170, 170, Channels::rgb, SampleType::u16)));
    check_refused(run(shot.stitch(shot.at("p.tif"))), "back.tif");
    CHECK(get_file(shot.at("p.tif")) == "old");
    std::filesystem::remove(shot.at("p.tif"));
  }
  check_nothing_left(scratch);
}

TEST_CASE("A full disk is told in one line and nothing is left on it") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const auto small = scratch / "small";
  std::filesystem::create_directory(small);
  if (::mount("tmpfs", small.c_str(), "tmpfs", 0, "size=128k") != 0) {
    return test::skip("cannot mount a small tmpfs here");
  }
  const auto full = run(shot.stitch((small / "p.tif").string()));
  const auto full_png = run({"stitch", "--template", shot.template_file(), shot.front(),
                             shot.back(), "--out", (small / "p.png").string(), "--width", "512"});
  const bool left = !std::filesystem::is_empty(small);
  ::umount(small.c_str());
  check_refused(full, "p.tif");
  check_refused(full_png, "p.png");
  CHECK_FALSE(left);
}

TEST_CASE("stitch takes the template a shot file names, and only that one") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const std::vector<std::string> stitch = {
      "stitch", shot.at("s.shot.yaml"), "--out", shot.at("p.tif"), "--width", "256"};
  shot.write_shot("s.shot.yaml", {});
  check_refused(run(stitch), "--template");
  shot.write_shot("s.shot.yaml", TemplateReference{"T.template.yaml", std::string(64, '0')});
  check_refused(run(stitch), "sha256");
  shot.write_shot("s.shot.yaml", TemplateReference{"elsewhere.yaml", {}});
  check_refused(run(stitch), "elsewhere.yaml");
  check_refused(run({"stitch", shot.front(), shot.back(), "--out", shot.at("p.tif")}),
                "--template");
  shot.write_shot("s.shot.yaml", TemplateReference{"T.template.yaml", {}});
  auto turned = stitch;
  turned.insert(turned.end(), {"--layout", "stacked"});
  check_refused(run(turned), "shot file");
  CHECK(run(stitch).exit_code == 0);
}

TEST_CASE("With --json a failure is an object as well") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const auto ran = run(shot.stitch(shot.at("no/p.tif"), {"--json"}));
  CHECK(ran.exit_code == 1);
  CHECK(ran.json()["error"]["kind"] == "io");
  CHECK_FALSE(ran.json()["error"]["remedy"].get<std::string>().empty());
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
