// One bad shot among good ones: it is named and left out, and the rest goes on.

#include <algorithm>
#include <csignal>
#include <filesystem>
#include <set>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <fcntl.h>
#include <fmt/format.h>
#include <sys/wait.h>
#include <unistd.h>

#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "tests/cli/archive_shots.h"
#include "tests/cli/run.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using test::run;

namespace {

namespace fs = std::filesystem;

/// A card of two good shots, grouped by EXIF, and of one bad shot of each kind.
struct Card {
  test::ScratchDir dir;
  test::SmallShot shot;
  std::string folder;
  int minute = 0;

  Card() : shot(dir.path()), folder((dir / "card").string()) {
    fs::create_directories(folder);
    good("attic");
    good("bath");
  }

  std::string at(const std::string& name) const { return folder + "/" + name; }

  FrameInfo info(const std::string& lens) const {
    FrameInfo info;
    info.taken_at = fmt::format("2024:05:14 09:{:02}:00", minute);
    info.exposure_s = 1.0 / 30;
    info.iso = 200;
    info.f_number = 4;
    info.body_make = "Lantern";
    info.body_model = "Lantern Two";
    info.lens_model = "Lantern fisheye " + lens;
    return info;
  }

  // One frame; a minute after the last shot.
  void frame(const std::string& name, const std::string& lens, const FrameInfo& info) const {
    const auto picture = read_image(shot.at(lens + ".tif"));
    REQUIRE(picture);
    REQUIRE(write_image(at(name + "_" + lens + ".tif"), *picture, {.info = info}));
  }
  void good(const std::string& name) {
    ++minute;
    for (const std::string lens : {"front", "back"}) frame(name, lens, info(lens));
  }

  void spoil() {
    ++minute;  // a lens is missing
    frame("cellar", "front", info("front"));
    good("den");  // a shot file that is broken, and names its frames
    test::put_file(at("den.shot.yaml"),
                   "format: seamwright-shot\nversion: 99\nframes: [den_front.tif, den_back.tif]\n");
    ++minute;  // nothing says when
    frame("entry", "front", {});
    good("fuel");  // torn before its picture begins
    test::put_file(at("fuel_back.tif"), "II*");
    good("garage");  // another size
    const Image small(80, 80, Channels::rgb, SampleType::u16);
    REQUIRE(write_image(at("garage_back.tif"), small, {.info = info("back")}));
    good("hall");  // another body
    FrameInfo other = info("back");
    other.body_model = "Lantern Six";
    frame("hall", "back", other);
  }
};

constexpr const char* kBad[] = {"cellar_front",  "den.shot.yaml",   "entry_front.tif",
                                "fuel_back.tif", "garage_back.tif", "hall_back.tif"};

/// Starts the workbench, and stops it when it says its address; what it said. Empty where it ended
/// by itself.
std::string workbench_says(const std::vector<std::string>& arguments, const fs::path& told) {
  test::put_file(told, "");
  const pid_t child = ::fork();
  if (child == 0) {
    const int file = ::open(told.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
    ::dup2(file, STDERR_FILENO);
    std::vector<std::string> words = {test::program()};
    words.insert(words.end(), arguments.begin(), arguments.end());
    std::vector<char*> pointers;
    for (std::string& word : words) pointers.push_back(word.data());
    pointers.push_back(nullptr);
    ::execv(pointers[0], pointers.data());
    ::_exit(127);
  }
  int status = 0;
  constexpr int kPolls = 3000;  // a minute
  for (int i = 0; i < kPolls; ++i) {
    if (::waitpid(child, &status, WNOHANG) != 0) return {};
    if (test::get_file(told).find("http://") != std::string::npos) break;
    ::usleep(20'000);
  }
  ::kill(child, SIGTERM);
  ::waitpid(child, &status, 0);
  return test::get_file(told);
}

}  // namespace

TEST_CASE("restitch names bad shots of every kind, and stitches the others", "[left-out]") {
  if (test::program().empty()) return;
  Card card;
  card.spoil();
  const std::string out = (card.dir / "out").string();
  const std::vector<std::string> command = {
      "restitch", card.folder, "--template", card.shot.template_file(), "--out", out, "--width",
      "256",      "--seam",    "plain"};
  auto dry = command;
  dry.emplace_back("--dry-run");
  CHECK_THAT(run(dry).err, Catch::Contains("0 stitched, 0 done before") &&
                               Catch::Contains("2 to do") && !Catch::Contains(" 0 failed"));
  const auto ran = run(command);
  INFO(ran.err);
  CHECK(ran.exit_code == 2);
  CHECK_THAT(ran.err, Catch::Contains("2 stitched, 0 done before"));
  int named = 0;
  for (const char* bad : kBad) {
    CHECK_THAT(ran.err, Catch::Contains(std::string(bad) + ": failed: "));
    ++named;
  }
  CHECK(named == 6);
  std::vector<std::string> panoramas;
  for (const auto& entry : fs::directory_iterator(out)) {
    if (entry.is_regular_file()) panoramas.push_back(entry.path().filename().string());
  }
  std::sort(panoramas.begin(), panoramas.end());
  CHECK(panoramas == std::vector<std::string>{"attic.tif", "bath.tif"});
  CHECK_THAT(run(command).err, Catch::Contains("0 stitched, 2 done before"));
}

TEST_CASE("check names bad shots of every kind, and judges the others", "[left-out]") {
  if (test::program().empty()) return;
  Card card;
  card.spoil();
  const auto checked =
      run({"check", card.folder, "--template", card.shot.template_file(), "--json"});
  INFO(checked.err);
  CHECK(checked.exit_code == 2);
  std::set<std::string> judged, failed;
  const nlohmann::json answer = checked.json();
  for (const auto& one : answer.at("shots")) {
    (one.contains("failure") ? failed : judged).insert(one.at("name").get<std::string>());
  }
  CHECK(judged == std::set<std::string>{"attic", "bath"});
  for (const char* bad : kBad) {
    CAPTURE(bad);
    CHECK(failed.contains(bad));
  }
}

TEST_CASE("merge names bad shots, and merges the others", "[left-out]") {
  if (test::program().empty()) return;
  Card card;
  fs::remove_all(card.folder);
  fs::create_directories(card.folder);
  const auto bracket = [&](const std::string& name, const std::string& lens) {
    for (const double factor : {1.0, 4.0}) {
      FrameInfo info = card.info(lens);
      info.exposure_s = *info.exposure_s * factor;
      card.frame(fmt::format("{}_{:.0f}", name, factor), lens, info);
    }
  };
  const auto room = [&](const std::string& name) {
    ++card.minute;
    bracket(name, "front");
    bracket(name, "back");
  };
  room("attic");
  room("bath");
  room("cellar");
  ++card.minute;
  bracket("den", "front");
  card.frame("entry", "front", {});
  room("fuel");
  test::put_file(card.at("fuel_4_back.tif"), "II*");
  room("garage");  // torn in its picture: told only when it is read
  const std::string whole = test::get_file(card.at("garage_1_back.tif"));
  test::put_file(card.at("garage_1_back.tif"), whole.substr(0, whole.size() / 2));
  const std::string out = (card.dir / "merged").string();
  const auto merged = run({"merge", card.folder, "--out", out, "--json"});
  INFO(merged.err);
  CHECK(merged.exit_code == 2);
  REQUIRE(merged.json().at("merged").size() == 6);
  CHECK(fs::exists(out + "/attic_front.tif"));
  CHECK(fs::exists(out + "/cellar_back.tif"));
  for (const std::string bad : {"den", "entry_front.tif", "fuel_4_back.tif", "fuel", "garage"}) {
    CHECK_THAT(merged.err, Catch::Contains("finding: " + bad + " is left out: "));
  }
}

TEST_CASE("with nothing good left a command fails in one line", "[left-out]") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  fs::create_directories(dir / "card");
  fs::copy(shot.at("both.tif"), dir / "card" / "a.tif");  // says no time
  test::put_file(dir / "card" / "b.shot.yaml", "format: nothing\n");
  const std::string card = (dir / "card").string();
  const std::string out = (dir / "out").string();
  test::check_refused(run({"restitch", card, "--template", shot.template_file(), "--out", out}),
                      "1 more");
  test::check_refused(run({"check", card, "--template", shot.template_file()}), "b.shot.yaml");
  test::check_refused(run({"merge", card, "--out", out}), "no date and time");
  CHECK_FALSE(fs::exists(out));
}

TEST_CASE("a lone frame is not taken for all lenses where its neighbour was left out",
          "[left-out]") {
  if (test::program().empty()) return;
  Card card;
  // One shot, whose back frame says nothing of its time.
  for (const char* name : {"bath_front.tif", "bath_back.tif", "attic_back.tif"}) {
    fs::remove(card.at(name));
  }
  card.frame("attic", "back", {});
  test::check_refused(run({"restitch", card.folder, "--template", card.shot.template_file(),
                           "--out", (card.dir / "out").string()}),
                      "attic_back.tif");
  CHECK_FALSE(fs::exists(card.dir / "out" / "attic.tif"));
}

TEST_CASE("stitch takes a folder that holds one frame of each lens", "[left-out]") {
  if (test::program().empty()) return;
  Card card;
  fs::remove(card.at("bath_front.tif"));
  fs::remove(card.at("bath_back.tif"));
  const auto stitch = [&](std::vector<std::string> frames, const std::string& name) {
    const std::string out = (card.dir / name).string();
    frames.insert(frames.begin(), {"stitch", "--template", card.shot.template_file(), "--out", out,
                                   "--width", "256", "--seam", "plain"});
    const auto ran = run(frames);
    INFO(ran.err);
    REQUIRE((ran.exit_code == 0 || ran.exit_code == 2));
    return test::pixels_of(out);
  };
  CHECK(stitch({card.folder}, "folder.tif") ==
        stitch({card.at("attic_front.tif"), card.at("attic_back.tif")}, "frames.tif"));
}

TEST_CASE("frames that do not say lens or time are shots where their names do", "[left-out]") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  fs::create_directories(dir / "rooms");
  for (const std::string lens : {"front", "back"}) {
    const auto picture = read_image(shot.at(lens + ".tif"));
    REQUIRE(picture);
    REQUIRE(write_image(dir / "rooms" / ("attic_" + lens + ".tif"), *picture));
    // Of the time that all of these files say, and no lens.
    fs::copy(shot.at(lens + ".tif"), dir / "rooms" / ("den_" + lens + ".tif"));
    if (lens == "front") REQUIRE(write_image(dir / "rooms" / "bath_front.tif", *picture));
  }
  const auto ran = run({"restitch", (dir / "rooms").string(), "--template", shot.template_file(),
                        "--out", (dir / "out").string(), "--width", "256", "--seam", "plain"});
  INFO(ran.err);
  CHECK(ran.exit_code == 2);
  CHECK(fs::exists(dir / "out" / "attic.tif"));
  CHECK(fs::exists(dir / "out" / "den.tif"));
  CHECK_THAT(ran.err, Catch::Contains("2 stitched") &&
                          Catch::Contains("bath_front.tif: failed: ") &&
                          Catch::Contains("bath_back.tif is missing beside it"));
}

TEST_CASE("shots that would take each other's place are both left out", "[left-out]") {
  if (test::program().empty()) return;
  Card card;
  // Its frames are the bath's: the attic's own stay loose, and would be attic.tif as well.
  card.shot.write_shot("card/attic.shot.yaml",
                       TemplateReference{"../T.template.yaml", std::nullopt});
  std::string text = test::get_file(card.at("attic.shot.yaml"));
  text.replace(text.find("front.tif"), 9, "bath_front.tif");
  text.replace(text.find("back.tif"), 8, "bath_back.tif");
  test::put_file(card.at("attic.shot.yaml"), text);
  card.good("cellar");
  const auto ran = run({"restitch", card.folder, "--template", card.shot.template_file(), "--out",
                        (card.dir / "out").string(), "--width", "256", "--seam", "plain"});
  INFO(ran.err);
  CHECK(ran.exit_code == 2);
  CHECK_THAT(ran.err, Catch::Contains("1 stitched") && Catch::Contains("2 failed") &&
                          Catch::Contains("attic.shot.yaml: failed:") &&
                          Catch::Contains("attic: failed:"));
  CHECK(fs::exists(card.dir / "out" / "cellar.tif"));
  CHECK_FALSE(fs::exists(card.dir / "out" / "attic.tif"));
}

TEST_CASE("the workbench opens past shots that are broken", "[left-out]") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  fs::create_directories(dir / "rooms");
  for (const std::string name : {"a", "b", "d"}) {
    fs::copy(shot.front(), dir / "rooms" / (name + "_front.tif"));
    if (name != "d") fs::copy(shot.back(), dir / "rooms" / (name + "_back.tif"));
  }
  test::put_file(dir / "rooms" / "a.shot.yaml", "format: seamwright-shot\nversion: 99\n");
  test::put_file(dir / "rooms" / "a_back.tif", "torn");
  const std::vector<std::string> command = {"workbench", (dir / "rooms").string(), "--template",
                                            shot.template_file()};
  const std::string said = workbench_says(command, dir / "told");
  const std::string told = test::get_file(dir / "told");
  if (told.find("without the workbench's page") != std::string::npos) return;
  INFO(told);
  CHECK_THAT(said, Catch::Contains("1 shot on the bench") && Catch::Contains("left out: ") &&
                       Catch::Contains("a.shot.yaml") && Catch::Contains("d_front.tif"));
  // A frame that is torn, without any shot file.
  fs::remove(dir / "rooms" / "a.shot.yaml");
  CHECK_THAT(workbench_says(command, dir / "told"),
             Catch::Contains("a_back.tif") && Catch::Contains("1 shot on the bench"));
  // Nothing else is there.
  fs::remove(dir / "rooms" / "b_front.tif");
  test::check_refused(run(command), "a_back.tif");
}
