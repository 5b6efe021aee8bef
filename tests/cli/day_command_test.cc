// A day in two commands: `import` of a card as cameras write it, then `restitch` of its run file.

#include <csignal>
#include <filesystem>
#include <map>
#include <string>

#include <catch2/catch.hpp>

#include "templates/run_file.h"
#include "tests/cli/day_card.h"
#include "tests/cli/run.h"
#include "tests/cli/strike.h"
#include "tests/support/edited.h"

using namespace seamwright;
using test::DayCard;
using test::run;

namespace {

namespace fs = std::filesystem;

/// Every file below a folder but the journal and its like.
std::map<std::string, std::string> files_below(const fs::path& folder) {
  std::map<std::string, std::string> files;
  if (!fs::exists(folder)) return files;
  for (const auto& entry : fs::recursive_directory_iterator(folder)) {
    const fs::path file = entry.path().lexically_relative(folder);
    if (!entry.is_regular_file() || file.string().find(".restitch") == 0) continue;
    files[file.string()] = test::get_file(entry.path());
  }
  return files;
}

void replace_text(const fs::path& file, const std::string& from, const std::string& to) {
  test::put_file(file, test::edited(test::get_file(file), from, to));
}

RunFile read_run(const DayCard& day) {
  auto run = read_run_file(day.run_file());
  if (!run) FAIL(run.error().line());
  return std::move(*run);
}

int lines_with(const std::string& text, const std::string& words) {
  int count = 0;
  for (auto at = text.find(words); at != std::string::npos; at = text.find(words, at + 1)) ++count;
  return count;
}

/// Five good shots, and much else.
void fill(const DayCard& day) {
  day.take_bracket("DCIM/100LNT", 1, 0);
  day.take_bracket("DCIM/100LNT", 7, 10);
  // A burst of its middle exposure, later by a second.
  day.take("DCIM/101LNT/LNT_0101.tif", "front", 0, 3, 0);
  day.take("DCIM/101LNT/LNT_0102.tif", "back", 0, 3, 0);
  fs::remove(day.card() / "DCIM/100LNT/LNT_0012.tif");
  day.take_single("DCIM/100LNT", 13, 20);
  day.take_mirrored("DCIM/200LNT", 1, 20);
  day.take_both_circles("PRIVATE/BODY3/PIC_7.JPG", 30);
  // What does not belong: another camera's, one of two lenses, a cut file, a copy, no picture.
  FrameInfo phone = DayCard::told("", 40, 0, 0);
  phone.body_serial.reset();
  phone.body_make = "Pocket";
  phone.body_model = "Pocket One";
  day.write("DCIM/Camera/IMG_1.jpg", Image(200, 150, Channels::rgb, SampleType::u8), phone);
  day.take("DCIM/100LNT/LNT_0015.tif", "front", 120, 0);
  day.take("DCIM/100LNT/LNT_0016.tif", "front", 130, 0);
  const fs::path cut = day.card() / "DCIM/100LNT/LNT_0016.tif";
  fs::resize_file(cut, fs::file_size(cut) / 2);
  fs::copy_file(day.card() / "DCIM/100LNT/LNT_0001.tif", day.card() / "DCIM/LNT_0001 copy.tif");
  test::put_file(day.card() / "DCIM/index.dat", "no picture");
}

}  // namespace

TEST_CASE("a card is one command, and all that is good of it the next", "[day]") {
  if (test::program().empty()) return;
  const DayCard day;
  fill(day);
  const auto imported = run(day.import());
  INFO(imported.err);
  REQUIRE(imported.exit_code == 2);
  CHECK(lines_with(imported.err, "finding: ") == 4);
  CHECK_THAT(imported.err, Catch::Contains("2024-05-14_091000: lacks the +2.0 EV step") &&
                               Catch::Contains("LNT_0015.tif: no frame of Lantern fisheye back") &&
                               Catch::Contains("LNT_0016.tif: is damaged or cut short") &&
                               Catch::Contains("IMG_1.jpg: nothing was taken with it") &&
                               Catch::Contains("5 shots, 5 of them new; 21 pictures copied, 0 were "
                                               "there, 1 copies of others and 1 other files"));
  const RunFile written = read_run(day);
  REQUIRE(written.shots.size() == 5);
  CHECK(written.shots[0].name == "2024-05-14_090000");
  CHECK(written.shots[0].files.size() == 2);
  CHECK(written.shots[0].folder == "frames/DCIM");
  CHECK(written.shots[0].files[1].size() == 4);
  CHECK_THAT(imported.err, Catch::Contains("090000    Lantern 0117, -3.0 +0.0x2 +2.0 EV"));
  CHECK_THAT(written.shots[1].odd, Catch::Contains("+2.0 EV"));
  CHECK(written.shots[2].name == "2024-05-14_092000");
  CHECK(written.shots[3].name == "2024-05-14_092000_2");
  CHECK(written.shots[3].body == "Lantern 0218");
  CHECK(written.shots[4].layout == "side-by-side");
  // Copies are whole, and nothing but them is there.
  for (const auto& [name, bytes] : files_below(day.house() / "frames")) {
    CAPTURE(name);
    CHECK(bytes == test::get_file(day.card() / name));
  }
  const std::string page = test::get_file(day.house() / "contact.html");
  CHECK(lines_with(page, "<img ") == 10);
  CHECK_THAT(page, Catch::Contains("2024-05-14_092000_2") && Catch::Contains("IMG_1.jpg") &&
                       !Catch::Contains("src=\"http"));

  replace_text(day.run_file(), "level: true", "level: false\nwidth_px: 256\nexr: true");
  const auto made = run({"restitch", day.run_file().string(), "--json"});
  INFO(made.err);
  CHECK((made.exit_code == 0 || made.exit_code == 2));
  CHECK_THAT(made.err, Catch::Contains("5 stitched, 0 done before, 0 failed"));
  const auto out = files_below(day.house() / "panoramas");
  for (const RunShot& shot : written.shots) {
    CAPTURE(shot.name);
    for (const char* ending : {".tif", ".jpg", ".exr", "-tiles/tiles.json"}) {
      CHECK(out.contains(shot.name + ending));
    }
  }
  // The run file is what check and learn take as well.
  const auto checked = run({"check", day.run_file().string(), "--json"});
  INFO(checked.err);
  CHECK((checked.exit_code == 0 || checked.exit_code == 2));
  CHECK(checked.json().at("shots").size() == 5);
  test::check_refused(
      run({"learn", day.run_file().string(), "--out", (day.dir / "new.template.yaml").string()}),
      "the run holds shots of 3 bodies: Lantern 0117, Lantern 0218, Lantern 0319");
  // One room through three bodies: mirrored files show the very same, a JPEG nearly.
  const auto panorama = [&](const std::string& name) {
    return test::pixels_of((day.house() / "panoramas" / (name + ".tif")).string());
  };
  CHECK(panorama("2024-05-14_092000") == panorama("2024-05-14_092000_2"));
  CHECK_THAT(run({"restitch", day.run_file().string()}).err,
             Catch::Contains("0 stitched, 5 done before"));
}

TEST_CASE("a card that has grown is imported again, and what a person wrote stays", "[day]") {
  if (test::program().empty()) return;
  const DayCard day;
  day.take_single("DCIM/100LNT", 1, 10);
  day.take_single("DCIM/100LNT", 3, 20);
  REQUIRE(run(day.import()).exit_code == 0);
  const std::string first = test::get_file(day.run_file());
  // Again: nothing happens.
  const auto again = run(day.import());
  CHECK(again.exit_code == 0);
  CHECK_THAT(again.err, Catch::Contains("0 of them new; 0 pictures copied, 4 were there"));
  CHECK(test::get_file(day.run_file()) == first);
  CHECK_FALSE(fs::exists(day.house() / "house.run.yaml.previous"));

  replace_text(day.run_file(), "  - {name: \"2024-05-14_091000\"",
               "  # the best one\n  - {name: \"hall\", cover_deg: 25");
  const std::string edited = test::get_file(day.run_file());
  // A copy that was lost, an earlier shot, and a picture under a name that is taken.
  fs::remove(day.house() / "frames/DCIM/100LNT/LNT_0002.tif");
  day.take_single("DCIM/100LNT", 5, 0);
  fs::remove(day.card() / "DCIM/100LNT/LNT_0003.tif");
  fs::remove(day.card() / "DCIM/100LNT/LNT_0004.tif");
  day.take_single("DCIM/100LNT", 3, 50);
  const auto grown = run(day.import());
  INFO(grown.err);
  CHECK(grown.exit_code == 0);
  CHECK_THAT(grown.err, Catch::Contains("2 of them new; 5 pictures copied, 1 were there"));
  const std::string text = test::get_file(day.run_file());
  CHECK(text.starts_with(edited));
  CHECK(test::get_file(day.house() / "house.run.yaml.previous") == edited);
  const RunFile written = read_run(day);
  REQUIRE(written.shots.size() == 4);
  CHECK(written.shots[0].name == "hall");
  CHECK(written.shots[0].look.cover_deg == 25);
  CHECK(written.shots[2].name == "2024-05-14_090000");
  CHECK(written.shots[3].name == "2024-05-14_095000");
  CHECK_THAT(written.shots[3].files[0][0].string(), Catch::StartsWith("LNT_0003~"));
  CHECK_THAT(run({"restitch", day.run_file().string(), "--dry-run"}).err,
             Catch::Contains("hall: to do (new)") && Catch::Contains("4 to do"));
}

TEST_CASE("where EXIF says nothing, running numbers tell, and what they cannot tell is said",
          "[day]") {
  if (test::program().empty()) return;
  const DayCard day;
  for (int number = 1; number <= 7; ++number) {
    const bool front = number % 2 == 1;
    day.write(fmt::format("100LNT/LNT_{:04}.tif", number < 5 ? number : number + 10),
              test::exposed(front ? day.front() : day.back(), 1 - 0.02 * number), {});
  }
  const auto imported = run({"import", day.card().string(), "--out", day.house().string(),
                             "--template", day.template_of("A")});
  INFO(imported.err);
  CHECK(imported.exit_code == 2);
  CHECK_THAT(imported.err,
             Catch::Contains("the 3 frames up to LNT_0017.tif are no whole shots of 2 lenses") &&
                 Catch::Contains("2 shots, 2 of them new; 7 pictures copied"));
  const RunFile written = read_run(day);
  REQUIRE(written.shots.size() == 2);
  CHECK(written.shots[0].name == "LNT_0001");
  CHECK(written.shots[1].name == "LNT_0003");
  CHECK(written.shots[1].files ==
        std::vector<std::vector<fs::path>>{{"LNT_0003.tif"}, {"LNT_0004.tif"}});
  replace_text(day.run_file(), "level: true", "level: false\nwidth_px: 256");
  CHECK_THAT(run({"restitch", day.run_file().string()}).err, Catch::Contains("2 stitched"));
}

TEST_CASE("a second card of another body is stitched with that body's template", "[day]") {
  if (test::program().empty()) return;
  const DayCard day;
  day.take_single("DCIM/100LNT", 1, 10);
  const auto import_with = [&](const char* body) {
    return run({"import", day.card().string(), "--out", day.house().string(), "--template",
                day.template_of(body)});
  };
  REQUIRE(import_with("A").exit_code == 0);
  CHECK(read_run(day).shots[0].rig_template.empty());
  fs::remove_all(day.card() / "DCIM");
  day.take_mirrored("DCIM/100LNT", 1, 20);
  REQUIRE(import_with("B").exit_code == 0);
  const RunFile written = read_run(day);
  REQUIRE(written.shots.size() == 2);
  CHECK(written.templates == std::vector<fs::path>{"../A.template.yaml"});
  CHECK(written.shots[1].rig_template == "../B.template.yaml");
  CHECK_THAT(written.shots[1].files[0][0].string(), Catch::StartsWith("LNT_0001~"));
  // What one shot says for itself is no choice for the others.
  replace_text(day.run_file(), "templates: [\"../A.template.yaml\"]\n", "");
  CHECK_THAT(run({"restitch", day.run_file().string(), "--dry-run"}).err,
             Catch::Contains("1 failed, 1 to do") && Catch::Contains("template: is required"));
  replace_text(day.run_file(), "out:", "templates: [\"../A.template.yaml\"]\nout:");
  // A template that is lost costs its own shots.
  fs::remove(day.template_of("B"));
  replace_text(day.run_file(), "level: true", "seam: plain\nwidth_px: 256");
  const auto made = run({"restitch", day.run_file().string()});
  CHECK(made.exit_code == 2);
  CHECK_THAT(made.err, Catch::Contains("1 stitched, 0 done before, 1 failed") &&
                           Catch::Contains("B.template.yaml"));
}

TEST_CASE("an import in place copies nothing, and a foreign run file stays as it is", "[day]") {
  if (test::program().empty()) return;
  const DayCard day;
  day.take_single("DCIM/100LNT", 1, 10);
  const auto before = files_below(day.card());
  const auto imported = run(day.import({"--in-place"}));
  INFO(imported.err);
  CHECK(imported.exit_code == 0);
  CHECK_FALSE(fs::exists(day.house() / "frames"));
  CHECK(files_below(day.card()) == before);
  CHECK(read_run(day).shots[0].folder == "../card/DCIM/100LNT");
  CHECK_THAT(run({"restitch", day.run_file().string(), "--dry-run"}).err,
             Catch::Contains("1 to do"));

  test::put_file(day.run_file(), "somebody else's");
  test::check_refused(run(day.import()), "house.run.yaml");
  CHECK(test::get_file(day.run_file()) == "somebody else's");
  test::check_refused(
      run({"import", (day.dir / "nowhere").string(), "--out", (day.dir / "other").string()}),
      "is no folder");
  CHECK_FALSE(fs::exists(day.dir / "other"));
}

TEST_CASE("a shot of a run file may be an exception, or left out", "[day]") {
  if (test::program().empty()) return;
  const DayCard day;
  day.take_single("DCIM/100LNT", 1, 10);
  day.take_single("DCIM/100LNT", 3, 20);
  day.take_single("DCIM/100LNT", 5, 30);
  REQUIRE(run(day.import()).exit_code == 0);
  replace_text(day.run_file(), "level: true\ncover_deg: 18",
               "seam: plain\nwidth_px: 256\nnames: \"house_{name}_{body}\"");
  replace_text(day.run_file(), "{name: \"2024-05-14_091000\"", "{name: \"wide\", width_px: 128");
  replace_text(day.run_file(), "{name: \"2024-05-14_092000\"", "{name: \"no\", skip: true");
  const auto made = run({"restitch", day.run_file().string()});
  INFO(made.err);
  CHECK_THAT(made.err, Catch::Contains("2 stitched, 0 done before, 0 failed"));
  const fs::path out = day.house() / "panoramas";
  const auto wide = read_image(out / "house_wide_Lantern_0117.tif");
  const auto usual = read_image(out / "house_2024-05-14_093000_Lantern_0117.tif");
  REQUIRE((wide && usual));
  CHECK(wide->width() == 128);
  CHECK(usual->width() == 256);
  // What may be said beside a run file is said of the shots that it names, too.
  CHECK_THAT(run({"restitch", day.run_file().string(), "--dry-run"}).err,
             Catch::Contains("2 done before, 0 failed, 0 to do"));
  CHECK_THAT(run({"restitch", day.run_file().string(), "--no-level", "--dry-run"}).err,
             Catch::Contains("wide: to do (settings changed)") &&
                 Catch::Contains("0 done before, 0 failed, 2 to do"));
  // A name that would be another shot's file is told before anything is written over.
  replace_text(day.run_file(), "names: \"house_{name}_{body}\"", "jpeg: [{}, {width_px: 64}]");
  replace_text(day.run_file(), "jpeg: [{}]\n", "");
  replace_text(day.run_file(), "2024-05-14_093000", "wide-64");
  const auto shared = run({"restitch", day.run_file().string()});
  CHECK(shared.exit_code == 2);
  CHECK_THAT(shared.err, Catch::Contains("1 stitched, 0 done before, 1 failed") &&
                             Catch::Contains("wide-64: name: wide-64.jpg would be a file of wide"));
  // Said twice is said wrongly.
  test::check_refused(run({"restitch", day.run_file().string(), "--width", "128"}),
                      "--width: is said by the run file");
  replace_text(day.run_file(), "jpeg: ", "names: \"house_{nom}\"\njpeg: ");
  test::check_refused(run({"restitch", day.run_file().string()}), "{nom}, which is no part");
}

TEST_CASE("a run with all deliverables ends with the same bytes wherever it was killed", "[kill]") {
  if (test::program().empty()) return;
  const DayCard day(test::memory_folder());
  day.take_bracket("DCIM/100LNT", 1, 0);
  day.take_single("DCIM/100LNT", 7, 10);
  REQUIRE(run(day.import()).exit_code == 0);
  replace_text(day.run_file(), "level: true\ncover_deg: 18\njpeg: [{}]\ntiles: {}",
               "seam: plain\nwidth_px: 256\ncover_deg: 18\nlight: exr\nexr: true\n"
               "jpeg: [{}, {width_px: 128}]\nfaces: {face_px: 48}\n"
               "tiles: {face_px: 128, tile_px: 64}");
  const fs::path out = day.house() / "panoramas";
  const std::vector<std::string> command = {"restitch", day.run_file().string()};
  const auto begin = std::chrono::steady_clock::now();
  REQUIRE(run(command).exit_code != 1);
  const double whole_s =
      std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
  const auto wanted = files_below(out);
  REQUIRE(wanted.size() == 2 * (4 + 7 + 6 * 5 + 1) + 1);
  const int strikes = std::max(1, test::strikes() / 2);
  int struck = 0;
  for (const int signal : {SIGKILL, SIGTERM}) {
    for (int i = 0; i < strikes; ++i) {
      CAPTURE(signal, i);
      fs::remove_all(out);
      struck += test::struck_after(command, whole_s * (i + 0.5) / strikes, signal) ? 1 : 0;
      const auto resumed = run(command);
      INFO(resumed.err);
      REQUIRE((resumed.exit_code == 0 || resumed.exit_code == 2));
      REQUIRE((files_below(out) == wanted));
    }
  }
  CHECK(struck > 0);
}

TEST_CASE("an import that was killed is ended by the next one", "[kill]") {
  if (test::program().empty()) return;
  const DayCard day(test::memory_folder());
  fill(day);
  const auto begin = std::chrono::steady_clock::now();
  REQUIRE(run(day.import()).exit_code == 2);
  const double whole_s =
      std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
  const auto imported = [&] {
    auto files = files_below(day.house());
    files.erase("contact.html");  // it says which shots are new
    return files;
  };
  const auto wanted = imported();
  int struck = 0;
  for (int i = 0; i < test::strikes(); ++i) {
    CAPTURE(i);
    fs::remove_all(day.house());
    struck += test::struck_after(day.import(), whole_s * (i + 0.5) / test::strikes(), SIGKILL);
    REQUIRE(run(day.import()).exit_code == 2);
    REQUIRE((imported() == wanted));
  }
  CHECK(struck > 0);
}
