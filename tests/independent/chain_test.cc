// The whole chain by the built program, on frames of a room that none of its code made: learn cold,
// stitch, level, merge, check, restitch. Limits stand beside what was measured when they were set.

#include <algorithm>
#include <filesystem>
#include <map>
#include <string>
#include <thread>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "body.h"
#include "learnt_body.h"
#include "outside_program.h"
#include "ruler.h"
#include "shots.h"

using namespace independent;

namespace {

std::string in_work(const std::string& name) { return work_folder() + "/" + name; }

Outcome seamwright(const Words& words) {
  Outcome outcome = run_seamwright(words);
  UNSCOPED_INFO("seamwright " << words[0] << " ended with " << outcome.exit_code << "\n"
                              << outcome.err);
  return outcome;
}

const std::array<Picture, 2>& stiff_lights(int stand) {
  static std::map<int, std::array<Picture, 2>> kept;
  const auto found = kept.find(stand);
  if (found != kept.end()) return found->second;
  return kept.emplace(stand, lights(stand, Vector3d::Zero())).first->second;
}

Words good_shot(int stand) {
  static std::map<int, Words> kept;
  const auto found = kept.find(stand);
  if (found != kept.end()) return found->second;
  return kept.emplace(stand, write_shot(in_work("good"), stiff_lights(stand), stand)).first->second;
}

const std::string& good_template() {
  static const std::string file = [] {
    learn({good_shot(1), good_shot(2), good_shot(3), good_shot(4)}, in_work("good.template.yaml"));
    return in_work("good.template.yaml");
  }();
  return file;
}

// What a room may be off by. Measured when they were set, of stands 1 and 2 in clean frames and of
// stand 1 in JPEG: tilt 0.044, 0.004, 0.033; miss 0.26, 0.25, 0.29; nothing broken or blemished of
// 80, 63 and 80 patches (one of 63 is 0.016); light 0.024, 0.031, 0.031, of which some 0.01 is a
// hump of the true vignetting near the axis that an even polynomial cannot follow.
constexpr double kTilt_deg = 0.1;
constexpr double kMiss_px = 0.4;
constexpr double kBroken = 0.02;
constexpr double kBlemished = 0.04;
constexpr double kUnlike = 0.008;  // 0.0030, 0.0025, 0.0044; 0.0175 with depth left out
constexpr double kLight = 0.045;

// Stitches, and holds the panorama against the room.
void check_panorama(const std::string& template_file, const Words& frames, int stand,
                    const std::string& name) {
  const std::string out = in_work(name + ".tif");
  Words words = {"stitch", "--template", template_file, "--level", "--out", out};
  words.insert(words.end(), frames.begin(), frames.end());
  const Outcome stitched = seamwright(words);
  REQUIRE(done(stitched));
  const Picture picture = read_tiff(out);
  const Room room = room_at(stand);
  const Stand& place = kStands[static_cast<std::size_t>(stand - 1)];
  const Placing placed = placing(picture, room, place);
  const SeamPatches seam = seam_patches(picture, room, place, placed.turn_deg);
  const ZoneLight light = zone_light(picture, room, place, placed.turn_deg, 0.8);
  WARN(name << ": width " << picture.width << " px; tilt " << placed.tilt_deg << " deg, heading "
            << placed.turn_deg.y() << " deg, places within " << placed.miss_px << " px ("
            << placed.patches << " patches); seam: " << 100 * seam.broken << " % broken, "
            << 100 * seam.blemished << " % blemished of " << seam.textured << ", unlike "
            << seam.unlike << "; light within " << 100 * light.most << " % in " << light.zones
            << " zones");
  CHECK(placed.patches >= 100);
  CHECK(placed.tilt_deg < kTilt_deg);
  CHECK(placed.miss_px < kMiss_px);
  CHECK(seam.textured >= 60);
  CHECK(seam.broken <= kBroken);
  CHECK(seam.blemished <= kBlemished);
  CHECK(seam.unlike < kUnlike);
  CHECK(light.zones >= 36);
  CHECK(light.most < kLight);
}

void tell(const char* what, const Misalignment& found) {
  WARN(what << ": lens to lens at infinity " << found.rms_px << " px RMS (" << found.parallax_px
            << " in parallax, " << found.sideways_px << " sideways), " << found.max_px
            << " at most");
}

}  // namespace

TEST_CASE("a body learned cold from four stands in clean 16-bit frames") {
  const Misalignment found = misalignment(read_learnt_body(good_template()), body_lenses());
  tell("clean frames", found);
  CHECK(found.rms_px < 0.10);  // measured 0.035 and 0.052, of frames that differ in exposure
  CHECK(found.max_px < 0.25);  // 0.050, 0.116
}

TEST_CASE("rooms stitched with that template") {
  const int stand = GENERATE(1, 2);
  check_panorama(good_template(), good_shot(stand), stand, fmt::format("clean{}", stand));
}

TEST_CASE("8-bit JPEG files that hold both circles, noisy, of a body that gives") {
  // 0.02 degrees, one sigma an axis, drawn once.
  const std::array<Vector3d, 4> gives{
      Vector3d(0.013, -0.021, 0.008), Vector3d(-0.026, 0.011, 0.017),
      Vector3d(0.019, 0.024, -0.022), Vector3d(-0.009, -0.016, 0.003)};
  Words words = {"learn",
                 "--layout",
                 "side-by-side",
                 "--baseline-mm",
                 "27",
                 "--out",
                 in_work("jpeg.template.yaml")};
  Words files;
  for (int stand = 1; stand <= 4; ++stand) {
    const auto index = static_cast<std::size_t>(stand - 1);
    const auto light = lights(stand, gives[index]);
    const auto codes = [&](std::size_t lens) {
      const auto seed =
          static_cast<std::uint32_t>(100 + 10 * stand) + static_cast<std::uint32_t>(lens);
      return exposed(
          light[lens],
          {.ev = kBright_ev, .full_well = kFull_well / 9, .read_noise = 4, .seed = seed});
    };
    files.push_back(in_work(fmt::format("both{}.jpg", stand)));
    write_jpeg(files.back(), side_by_side(codes(0), codes(1)), 92);
    words.insert(words.end(), {"--shot", files.back()});
  }
  REQUIRE(done(seamwright(words)));
  const Misalignment found =
      misalignment(read_learnt_body(in_work("jpeg.template.yaml")), body_lenses());
  tell("JPEG frames", found);
  // Of 0.02 degrees, 0.1 px an axis, four shots leave half in their mean.
  CHECK(found.rms_px < 0.20);  // measured 0.116 and 0.120
  CHECK(found.max_px < 0.40);  // 0.213, 0.245
  check_panorama(in_work("jpeg.template.yaml"), {files[0], "--layout", "side-by-side"}, 1, "jpeg1");
}

TEST_CASE("brackets of the room's light, merged and stitched") {
  const std::string folder = in_work("brackets");
  std::filesystem::create_directories(folder);
  const auto& light = stiff_lights(1);
  const std::vector<std::pair<int, const char*>> steps{{-3, "1/240"}, {0, "1/30"}, {2, "4/30"}};
  for (std::size_t lens = 0; lens < 2; ++lens) {
    int second = 0;
    for (const auto& [ev, time] : steps) {
      const std::string file = fmt::format("{}/room_{}_{}.tif", folder, kNames[lens], ev);
      const auto seed =
          1000 + 10 * static_cast<std::uint32_t>(lens) + static_cast<std::uint32_t>(second);
      write_tiff(file, exposed(light[lens],
                               {.ev = kBright_ev + ev, .full_well = kFull_well, .seed = seed}));
      write_exif(file, {time_of(1, second), time, kNames[lens]});
      ++second;
    }
  }
  const Outcome merged = seamwright({"merge", folder, "--out", in_work("merged")});
  REQUIRE(done(merged));
  // Light is 1 at white of the middle exposure; −3 EV clips nothing below 8.
  const double unit = std::exp2(kBright_ev);
  for (std::size_t lens = 0; lens < 2; ++lens) {
    const std::string file = in_work(fmt::format("merged/room_{}.tif", kNames[lens]));
    const FrameLight error =
        frame_light(read_tiff(file), light[lens], 0.01 / unit, 0.85 * 8 / unit);
    WARN(kNames[lens] << ": light within " << 100 * error.p95 << " % (P95), " << 100 * error.most
                      << " % at most, " << error.means << " means");
    CHECK(error.means > 5000);
    CHECK(error.p95 < 0.01);  // measured 0.0041, 0.0039; 0.020 at most
  }
  const std::string out = in_work("brackets.tif");
  REQUIRE(done(seamwright({"stitch", "--template", good_template(), "--level", folder, "--out", out,
                           "--light", in_work("light.tif")})));
  const Picture shown = read_tiff(out);
  const Picture picture = read_tiff(in_work("light.tif"));
  const Room room = room_at(1);
  const Placing placed = placing(shown, room, kStands[0]);
  // The window and what is outside count too: three stops above white.
  const ZoneLight found = zone_light(picture, room, kStands[0], placed.turn_deg, 5);
  WARN("stitched light within " << 100 * found.most << " % in " << found.zones << " zones");
  CHECK(found.zones >= 36);
  CHECK(found.most < kLight);
}

TEST_CASE("check says nothing of good shots, and names the knocked one") {
  Words words = {"check", "--template", good_template(), "--json"};
  for (int stand = 1; stand <= 4; ++stand) {
    for (const std::string& frame : good_shot(stand)) words.push_back(frame);
  }
  const Outcome good = seamwright(words);
  CHECK(good.exit_code == 0);
  const auto said_of_good = nlohmann::json::parse(good.out);
  CHECK(said_of_good["shots"].size() == 4);
  for (const auto& shot : said_of_good["shots"]) {
    INFO(shot.dump(1));
    CHECK(shot["findings"].empty());
  }
  const Words knocked = write_shot(in_work("knocked"), lights(3, {0.22, -0.15, 0.2}), 3);
  words = {"check", "--template", good_template(), "--json"};
  for (const int stand : {1, 2, 4}) {
    for (const std::string& frame : good_shot(stand)) words.push_back(frame);
  }
  words.insert(words.end(), knocked.begin(), knocked.end());
  const Outcome mixed = seamwright(words);
  CHECK(mixed.exit_code == 2);
  int named = 0;
  const auto said = nlohmann::json::parse(mixed.out);
  CHECK(said["shots"].size() == 4);
  for (const auto& shot : said["shots"]) {
    INFO(shot.dump(1));
    if (shot["findings"].empty()) continue;
    CHECK(shot["name"].get<std::string>().find("room3") != std::string::npos);
    // Patches that a knock moved apart show different things, so a step of colour may be told
    // beside it, and has been measured at 2.8 CIEDE2000, ranked above.
    CHECK(std::any_of(shot["findings"].begin(), shot["findings"].end(),
                      [](const auto& finding) { return finding["kind"] == "misaligned"; }));
    ++named;
  }
  CHECK(named == 1);
}

TEST_CASE("an archive stitched again has the bytes of single stitches") {
  const std::string folder = std::filesystem::path(good_shot(1)[0]).parent_path();
  for (int stand = 2; stand <= 4; ++stand) REQUIRE(good_shot(stand).size() == 2);
  const Outcome again = seamwright({"restitch", folder, "--template", good_template(), "--out",
                                    in_work("again"), "--width", "1024"});
  REQUIRE(done(again));
  int compared = 0;
  for (const auto& entry : std::filesystem::directory_iterator(in_work("again"))) {
    if (entry.path().extension() != ".tif") continue;
    const std::string name = entry.path().filename().string();
    for (const int stand : {2, 3}) {
      if (name.find(fmt::format("room{}", stand)) == std::string::npos) continue;
      const std::string single = in_work(fmt::format("single{}.tif", stand));
      REQUIRE(done(seamwright({"stitch", "--template", good_template(), "--width", "1024", "--out",
                               single, good_shot(stand)[0], good_shot(stand)[1]})));
      CHECK((bytes_of(entry.path().string()) == bytes_of(single)));
      ++compared;
    }
  }
  CHECK(compared == 2);
}
