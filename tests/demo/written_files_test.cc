#include <cmath>
#include <filesystem>
#include <map>

#include <catch2/catch.hpp>
#include <exiv2/exiv2.hpp>
#include <nlohmann/json.hpp>

#include "apps/demo/demo.h"
#include "base/file.h"
#include "base/parallel.h"
#include "imaging/orient.h"
#include "imaging/read_image.h"
#include "imaging/transfer.h"
#include "templates/rig_template.h"
#include "tests/support/matchers.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;

namespace {

DemoOptions small(std::vector<std::string> shots) {
  DemoOptions options;
  options.frame_px = 200;
  options.only_shots = std::move(shots);
  options.light_cell_m = 0.8;
  options.panorama_width_px = 160;
  return options;
}

void make(const std::filesystem::path& dir, const DemoOptions& options) {
  const auto done = write_demo(dir, options);
  if (!done) {
    FAIL(done.error().line());
  }
}

/// SHA-256 of every file below a folder, by relative path.
std::map<std::string, std::string> hashes(const std::filesystem::path& dir) {
  std::map<std::string, std::string> out;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(dir)) {
    if (entry.is_regular_file()) {
      out[entry.path().lexically_relative(dir).string()] = sha256_of_file(entry.path()).value();
    }
  }
  return out;
}

Image picture(const std::filesystem::path& path) {
  auto image = read_image(path);
  REQUIRE(image.has_value());
  return std::move(*image);
}

}  // namespace

TEST_CASE("the same options give the same bytes with one thread and with two") {
  const test::ScratchDir scratch;
  const DemoOptions options = small({"library_1"});
  {
    const ThreadLimit one(1);
    make(scratch / "one", options);
  }
  {
    const ThreadLimit two(2);
    make(scratch / "two", options);
  }
  const auto one = hashes(scratch / "one");
  CHECK(one.size() == 7);
  CHECK(one == hashes(scratch / "two"));
}

TEST_CASE("another seed is another body and other pictures") {
  const test::ScratchDir scratch;
  DemoOptions options = small({"hall_1"});
  options.with_panoramas = false;
  make(scratch / "a", options);
  options.seed = 2;
  make(scratch / "b", options);
  const auto a = hashes(scratch / "a");
  const auto b = hashes(scratch / "b");
  REQUIRE(a.size() == b.size());
  for (const auto& [file, hash] : a) {
    CAPTURE(file);
    CHECK(b.at(file) != hash);
  }
}

TEST_CASE("frames are 16-bit sRGB TIFFs with EXIF that Exiv2 reads") {
  const test::ScratchDir scratch;
  DemoOptions options = small({"library_2"});
  options.with_truth = false;
  make(scratch.path(), options);
  CHECK_FALSE(std::filesystem::exists(scratch / "truth"));
  for (const std::string name : {"front", "back"}) {
    const auto path = scratch / "frames" / ("library_2_" + name + ".tif");
    const Image image = picture(path);
    CHECK(image.width() == 200);
    CHECK(image.height() == 200);
    CHECK(image.channels() == Channels::rgb);
    CHECK(image.type() == SampleType::u16);
    CHECK(image.icc_profile.size() > 128);
    const auto exif = Exiv2::ImageFactory::open(path.string());
    exif->readMetadata();
    const Exiv2::ExifData& data = exif->exifData();
    const auto text = [&](const char* key) {
      const auto found = data.findKey(Exiv2::ExifKey(key));
      return found == data.end() ? std::string("missing") : found->toString();
    };
    CHECK(text("Exif.Image.Make") == "Lantern");
    CHECK(text("Exif.Image.Model") == "Lantern Two");
    CHECK(text("Exif.Photo.DateTimeOriginal") == "2024:05:14 09:12:20");
    CHECK(text("Exif.Photo.ExposureTime") == "1/6");
    CHECK(text("Exif.Photo.FNumber") == "4/1");
    CHECK(text("Exif.Photo.ISOSpeedRatings") == "200");
  }
}

TEST_CASE("frames hold a picture: dark corners, a clipped window, a well lit room") {
  const test::ScratchDir scratch;
  DemoOptions options = small({"library_1", "breakfast_1", "courtyard_1"});
  options.with_truth = false;
  make(scratch.path(), options);
  for (const auto& shot : options.only_shots) {
    int clipped = 0;
    for (const std::string name : {"front", "back"}) {
      const Image image = picture(scratch / "frames" / (shot + "_" + name + ".tif"));
      CAPTURE(shot, name);
      double corner = 0;
      double middle = 0;
      for (int y = 0; y < 200; ++y) {
        const auto row = image.row<std::uint16_t>(y);
        for (std::size_t x = 0; x < 200; ++x) {
          const double light = srgb_to_linear(row[3 * x + 1] / 65535.0);
          const double r = std::hypot(static_cast<double>(x) - 99.5, y - 99.5);
          corner += r > 110 ? light : 0;
          middle += r < 80 ? light / (kPi * 80 * 80) : 0;
          clipped +=
              row[3 * x] == 65535 && row[3 * x + 1] == 65535 && row[3 * x + 2] == 65535 ? 1 : 0;
        }
      }
      // Read-out noise alone: 0.13 of its σ a pixel on average, over the ~5,000 corner pixels.
      CHECK(corner < 5.0);
      CHECK(middle > 0.12);
      CHECK(middle < 0.5);
    }
    CAPTURE(shot);
    CHECK(clipped > (shot == "courtyard_1" ? 5 : 100));  // the sun's disc; windows
  }
}

TEST_CASE("the back lens is brighter by the stated gain") {
  // The same view of the same lens with and without the gain: the ratio is the gain itself.
  const test::ScratchDir scratch;
  DemoOptions options = small({"hall_2"});
  options.with_truth = false;
  options.back_gain_ev = 0;
  make(scratch / "equal", options);
  options.back_gain_ev = 0.25;
  make(scratch / "unequal", options);
  const auto sum = [&](const char* dir, const char* file) {
    const Image equal = picture(scratch / "equal" / "frames" / file);
    const Image image = picture(scratch / dir / "frames" / file);
    std::array<double, 3> out{};
    for (int y = 20; y < 180; ++y) {
      const auto reference = equal.row<std::uint16_t>(y);
      const auto row = image.row<std::uint16_t>(y);
      for (std::size_t i = 60; i < 540; ++i) {
        // Only what clips in neither.
        out[i % 3] += reference[i] < 40000 ? srgb_to_linear(row[i] / 65535.0) : 0;
      }
    }
    return out;
  };
  const auto back = sum("unequal", "hall_2_back.tif");
  const auto back_equal = sum("equal", "hall_2_back.tif");
  const auto front = sum("unequal", "hall_2_front.tif");
  const auto front_equal = sum("equal", "hall_2_front.tif");
  for (std::size_t c = 0; c < 3; ++c) {
    CHECK(std::log2(back[c] / back_equal[c]) == Approx(0.25).margin(0.002));
    CHECK(front[c] == front_equal[c]);
  }
}

TEST_CASE("both lenses agree on a plain far direction but for the stated gain and cast") {
  // Both lenses see the ring; away from near things the pictures are the same light.
  const test::ScratchDir scratch;
  DemoOptions options = small({"courtyard_1"});
  options.frame_px = 400;
  options.with_panoramas = false;
  make(scratch.path(), options);
  const auto body = read_template(scratch / "truth" / "body.template.yaml");
  REQUIRE(body.has_value());
  const Rig rig = demo_shot_rig(body->rig(), options.seed, "courtyard_1", options.flex_rms_deg);
  const Image front = picture(scratch / "frames" / "courtyard_1_front.tif");
  const Image back = picture(scratch / "frames" / "courtyard_1_back.tif");
  const auto light = [](const Image& image, const Lens& lens, const Vec2& px, int c) {
    const double r_hat = (px - lens.centre_px()).norm() / lens.rim_radius_px();
    const auto row = image.row<std::uint16_t>(static_cast<int>(px.y()));
    const double code = row[static_cast<std::size_t>(3 * static_cast<int>(px.x()) + c)] / 65535.0;
    return srgb_to_linear(code) / lens.vignetting.gain(r_hat);
  };
  std::array<double, 3> sum_front{};
  std::array<double, 3> sum_back{};
  int used = 0;
  for (int i = 0; i < 2000; ++i) {
    const double psi = kPi * (1.0 + i / 2000.0);  // the upper half of the ring: the sky
    const Vec3 direction(std::cos(psi), std::sin(psi), 0);
    const auto a = rig.lenses[0].project_direction(direction);
    const auto b = rig.lenses[1].project_direction(direction);
    REQUIRE(a.has_value());
    REQUIRE(b.has_value());
    const double brightest =
        std::max(light(front, rig.lenses[0].lens, *a, 2), light(back, rig.lenses[1].lens, *b, 2));
    if (brightest > 0.75) {
      continue;
    }
    ++used;
    for (int c = 0; c < 3; ++c) {
      sum_front[static_cast<std::size_t>(c)] += light(front, rig.lenses[0].lens, *a, c);
      sum_back[static_cast<std::size_t>(c)] += light(back, rig.lenses[1].lens, *b, c);
    }
  }
  REQUIRE(used > 500);
  const double more = std::exp2(0.25);
  CHECK(sum_back[0] / sum_front[0] == Approx(1.03 * more).epsilon(0.02));
  CHECK(sum_back[1] / sum_front[1] == Approx(more).epsilon(0.02));
  CHECK(sum_back[2] / sum_front[2] == Approx(0.96 * more).epsilon(0.02));
}

TEST_CASE("the written depth is the scene's distance along the true rays") {
  const test::ScratchDir scratch;
  DemoOptions options = small({"room3_1", "courtyard_2"});
  options.with_panoramas = false;
  make(scratch.path(), options);
  const auto body = read_template(scratch / "truth" / "body.template.yaml");
  REQUIRE(body.has_value());
  const DemoScene scene;
  for (const DemoShot& shot : demo_shots()) {
    if (std::count(options.only_shots.begin(), options.only_shots.end(), shot.name) == 0) {
      continue;
    }
    const Rig rig = demo_shot_rig(body->rig(), options.seed, shot.name, options.flex_rms_deg);
    int checked = 0;
    int edges = 0;
    for (std::size_t lens = 0; lens < 2; ++lens) {
      const MountedLens& mounted = rig.lenses[lens];
      const auto name = shot.name + (lens == 0 ? "_front" : "_back") + "_depth.tif";
      const Image depth = picture(scratch / "truth" / name);
      REQUIRE(depth.type() == SampleType::f32);
      for (int y = 3; y < 200; y += 4) {
        for (int x = 3; x < 200; x += 4) {
          const double written = depth.row<float>(y)[static_cast<std::size_t>(x)];
          const auto direction = mounted.direction_in_rig({x + 0.5, y + 0.5});
          if (!direction) {
            CHECK(written == 0);
            continue;
          }
          const double expected =
              scene.distance_m(shot, mounted.ray_origin_in_rig(*direction), *direction);
          ++checked;
          const bool same = std::isinf(expected)
                                ? written == 1e6
                                : std::abs(written - expected) < 1e-3 * (1 + expected);
          edges += same ? 0 : 1;
        }
      }
    }
    CAPTURE(shot.name, checked);
    CHECK(checked > 3000);
    // A ray that grazes an edge may fall to either side of it in single precision.
    CHECK(edges <= 3);
  }
}

TEST_CASE("poses and the true body are written as they were used") {
  const test::ScratchDir scratch;
  DemoOptions options = small({"hall_3"});
  options.with_panoramas = false;
  make(scratch.path(), options);
  const auto written = read_template(scratch / "truth" / "body.template.yaml");
  REQUIRE(written.has_value());
  const auto body = demo_body(options.seed, options.frame_px);
  REQUIRE(body.has_value());
  for (std::size_t i = 0; i < 2; ++i) {
    CHECK(written->rig().lenses[i].lens == body->lenses[i].lens);
    CHECK_THAT(written->rig().lenses[i].rig_from_lens,
               test::same_rotation(body->lenses[i].rig_from_lens, 1e-12));
  }
  const auto json = nlohmann::json::parse(read_file(scratch / "truth" / "poses.json").value());
  REQUIRE(json["shots"].size() == 1);
  const auto& pose = json["shots"][0];
  CHECK(pose["shot"] == "hall_3");
  const auto shots = demo_shots();
  const auto shot = std::find_if(shots.begin(), shots.end(),
                                 [](const DemoShot& s) { return s.name == "hall_3"; });
  CHECK(pose["position_in_world_m"][0].get<double>() == shot->position.x());
  const Rig rig = demo_shot_rig(*body, options.seed, "hall_3", options.flex_rms_deg);
  const auto& flex = pose["back_lens_flex_rotation_vector_deg"];
  const Vec3 flex_rad(rad_from_deg(flex[0].get<double>()), rad_from_deg(flex[1].get<double>()),
                      rad_from_deg(flex[2].get<double>()));
  CHECK_THAT(quat_from_rotation_vector(flex_rad) * body->lenses[1].rig_from_lens,
             test::same_rotation(rig.lenses[1].rig_from_lens, 1e-12));
}

TEST_CASE("mirrored frames are the upright ones flipped") {
  const test::ScratchDir scratch;
  DemoOptions options = small({"hall_1"});
  options.with_truth = false;
  make(scratch / "upright", options);
  options.mirrored = true;
  make(scratch / "mirrored", options);
  const Image upright = picture(scratch / "upright" / "frames" / "hall_1_front.tif");
  const Image flipped =
      mirror_left_right(picture(scratch / "mirrored" / "frames" / "hall_1_front.tif"));
  CHECK(std::equal(upright.bytes().begin(), upright.bytes().end(), flipped.bytes().begin()));
}

TEST_CASE("bad options, a stop and a folder that is a file are one clear error") {
  const test::ScratchDir scratch;
  const auto refused = [&](const DemoOptions& options, std::string_view field) {
    const auto done = write_demo(scratch / "out", options);
    REQUIRE_FALSE(done.has_value());
    CHECK(done.error().field == field);
    CHECK(done.error().line().find('\n') == std::string::npos);
  };
  DemoOptions options = small({"cellar_1"});
  refused(options, "only_shots");
  options = small({"hall_1"});
  options.frame_px = 3;
  refused(options, "frame_px");
  options = small({"hall_1"});
  options.body.field_of_view_deg = 90;
  refused(options, "field_of_view_deg");
  CHECK_FALSE(std::filesystem::exists(scratch / "out"));

  const auto stopped = write_demo(scratch / "stopped", small({"hall_1"}),
                                  [](const Progress& p) { return p.stage != "rendering"; });
  REQUIRE_FALSE(stopped.has_value());
  CHECK(stopped.error().kind == ErrorKind::cancelled);
  CHECK(std::filesystem::is_empty(scratch / "stopped" / "frames"));

  REQUIRE(write_file(scratch / "file", "x").has_value());
  const auto blocked = write_demo(scratch / "file", small({"hall_1"}));
  REQUIRE_FALSE(blocked.has_value());
  CHECK(blocked.error().kind == ErrorKind::io);
}
