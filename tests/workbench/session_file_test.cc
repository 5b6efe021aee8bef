// The files around a session: what no shot file can hold, links, other programs' hands.

#include <cstddef>
#include <filesystem>
#include <iterator>
#include <sstream>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <sys/stat.h>

#include "apps/workbench/edit_json.h"
#include "templates/shot_limits.h"
#include "tests/fuzz/kept_seeds.h"
#include "tests/fuzz/mutate.h"
#include "tests/support/random.h"
#include "tests/support/scratch_dir.h"
#include "tests/workbench/session_bench.h"

using namespace seamwright;
using namespace seamwright::workbench;
using test::get_file;
using test::plain_shot;
using test::put_file;
using test::SessionBench;
using test::stroke_at;
using test::tie_at;

namespace {

namespace fs = std::filesystem;

/// Many places whose numbers are long.
SeamStroke long_stroke(test::Random& random, std::size_t places) {
  SeamStroke stroke{.wish = StrokeWish::here, .reach_rad = random.uniform(0.01, 0.02)};
  for (std::size_t i = 0; i < places; ++i) {
    stroke.path.push_back({random.uniform(-3.1, -2), random.uniform(-1.5, -1)});
  }
  return stroke;
}

/// The journal with one value of one of its lines turned into another kind of value.
std::string with_other_type(const std::string& journal, test::Random& random) {
  std::vector<std::string> lines;
  std::istringstream in(journal);
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  std::string& line =
      lines[static_cast<std::size_t>(random.integer(0, static_cast<int>(lines.size()) - 1))];
  nlohmann::json entry = nlohmann::json::parse(line);
  const nlohmann::json flat = entry.flatten();
  auto value = flat.begin();
  std::advance(value, random.integer(0, static_cast<int>(flat.size()) - 1));
  const nlohmann::json others[] = {
      nullptr, true, 1e300, -1, "text", nlohmann::json::array(), nlohmann::json::object()};
  entry[nlohmann::json::json_pointer(value.key())] =
      others[static_cast<std::size_t>(random.integer(0, 6))];
  line = entry.dump();
  std::string text;
  for (const std::string& one : lines) text += one + "\n";
  return text;
}

}  // namespace

TEST_CASE(
    "whatever the frames and the template are called, Save is done only where it reads back") {
  const bool in_template = GENERATE(false, true);
  int saved = 0;
  int refused = 0;
  for (const char* name : {"~hall",
                           "x:hall",
                           "C:",
                           "hall one",
                           " hall ",
                           "- hall",
                           "#hall",
                           "'hall'",
                           "\"hall\"",
                           "hall: one",
                           "&hall",
                           "*hall",
                           "!hall",
                           "%hall",
                           "{hall}",
                           "[hall]",
                           "höhle",
                           "true",
                           "1e5",
                           "null",
                           "~",
                           "a,b",
                           "?hall",
                           "@hall",
                           "`hall`",
                           "hall\xe2\x80\xa8one",
                           "\xc2\x85hall",
                           "\xef\xbb\xbfhall",
                           "hall\\one",
                           "\\hall",
                           "hall\tone",
                           "hall\none",
                           "hall\rone",
                           "hall\x7f",
                           "\x01",
                           "hall\xff",
                           "\xc3\x28",
                           "\xed\xa0\x80"}) {
    CAPTURE(name);
    const SessionBench bench;
    ShotFile shot = plain_shot();
    (in_template ? shot.rig_template->file : shot.frames[0]) = std::string(name) + ".tif";
    auto session = Session::open(bench.file, shot, 2);
    if (!session) {
      CHECK_THAT(session.error().line(),
                 Catch::Contains("room.shot.yaml") && Catch::Contains("would not be readable"));
      CHECK(bench.scratch.entry_count() == 0);
      ++refused;
      continue;
    }
    REQUIRE(session->edit(AddTie{tie_at(1)}));
    REQUIRE(session->save(std::nullopt));
    const auto back = read_shot_file(bench.file);
    if (!back) FAIL(back.error().line());
    CHECK(back->frames == shot.frames);
    CHECK(back->rig_template == shot.rig_template);
    CHECK(back->manual_ties == session->state().ties_in_use());
    ++saved;
  }
  CHECK(saved == 28);
  CHECK(refused == 10);
}

TEST_CASE("strokes are accepted up to what a shot file holds, and then refused while drawing") {
  CAPTURE(test::seed());
  test::Random random(11);
  const SessionBench bench;
  Session session = bench.open();
  int accepted = 0;
  int refused = 0;
  for (int i = 0; i < 200; ++i) {
    const auto done = session.edit(AddStroke{long_stroke(random, 2000)});
    if (done) {
      ++accepted;
      continue;
    }
    ++refused;
    CHECK_THAT(done.error().line(), Catch::Contains("strokes: ") && Catch::Contains("40000"));
  }
  CHECK(accepted == 20);
  CHECK(refused == 180);
  CHECK_FALSE(session.edit(AddStroke{long_stroke(random, 2001)}));
  REQUIRE(session.save(std::nullopt));
  const auto back = read_shot_file(bench.file);
  if (!back) FAIL(back.error().line());
  CHECK(back->seam.size() == 20);
}

TEST_CASE("a shot with as much of everything as it may hold is saved and opened again") {
  CAPTURE(test::seed());
  test::Random random(12);
  ShotFile shot;
  shot.intake.lens_count = kMostLensesOfShot;
  for (int i = 0; i < kMostLensesOfShot; ++i) {
    shot.frames.emplace_back(fmt::format("{:0>990}_{}.tif", "", i));
  }
  shot.rig_template = TemplateReference{"T.template.yaml", std::string(64, 'a')};
  for (std::size_t i = 0; i < kMostTiesOfShot; ++i) {
    ManualTie tie{.range = TieRange::open, .sigma_px = random.uniform(0.1, 1), .sights = {}};
    for (int lens = 0; lens < kMostLensesOfShot; ++lens) {
      tie.sights.push_back({lens, Vec2(random.uniform(1, 2e5), random.uniform(1, 2e5))});
    }
    shot.manual_ties.push_back(tie);
  }
  for (std::size_t i = 0; i < kMostStrokesOfShot; ++i) {
    shot.seam.push_back(long_stroke(random, kMostPlacesOfShot / kMostStrokesOfShot));
  }
  for (std::size_t i = 0; i < UprightEdge::kMostOfShot; ++i) {
    const double longitude_rad = random.uniform(-3, 3);
    shot.verticals.push_back(
        {{{{longitude_rad, random.uniform(0.1, 1)}, {longitude_rad, random.uniform(-1, -0.1)}}}});
  }
  const test::ScratchDir scratch;
  const auto file = scratch / "full.shot.yaml";
  const auto written = write_shot_file(file, shot);
  if (!written) FAIL(written.error().line());
  auto session = Session::open(file, shot, kMostLensesOfShot);
  if (!session) FAIL(session.error().line());
  const EditState before = session->state();
  const std::vector<Edit> more = {AddTie{shot.manual_ties[0]}, AddStroke{long_stroke(random, 1)},
                                  AddVertical{shot.verticals[0]}};
  for (const Edit& edit : more) CHECK_FALSE(session->edit(edit));
  CHECK(session->state() == before);
  CHECK(session->edit(SwitchTie{1, false}));
  CHECK(session->save(std::nullopt));
  CHECK(read_shot_file(file)->manual_ties.size() == kMostTiesOfShot - 1);

  ShotFile over = shot;
  over.seam.back().path.push_back(over.seam.back().path.front());
  const auto refused = write_shot_file(scratch / "over.shot.yaml", over);
  REQUIRE_FALSE(refused);
  CHECK_THAT(refused.error().line(), Catch::Contains("seam: ") && Catch::Contains("40001 places"));
  CHECK_FALSE(fs::exists(scratch / "over.shot.yaml"));
}

TEST_CASE("a journal that would not be read again is not grown any more", "[long]") {
  const SessionBench bench;
  bench.put_shot();
  {
    Session session = bench.open();
    REQUIRE(session.edit(AddTie{tie_at(1)}));
  }
  std::string journal = get_file(bench.journal);
  const std::size_t room = Session::kForSteps_bytes + 100;
  journal.insert(journal.size() - 2, Session::kMostJournal_bytes - journal.size() - room, ' ');
  put_file(bench.journal, journal);
  Session session = bench.open();
  CHECK(session.recovered() == 1);
  const auto refused = session.edit(AddTie{tie_at(2)});
  REQUIRE_FALSE(refused);
  CHECK_THAT(refused.error().line(), Catch::Contains("room.shot.edits: is full"));
  REQUIRE(session.undo());
  REQUIRE(session.redo());
  REQUIRE(session.save(std::nullopt));
  CHECK_FALSE(session.unsaved());
}

TEST_CASE(
    "a journal that is a link, a folder or a pipe is refused, and nothing elsewhere written") {
  const SessionBench bench;
  const std::string text = bench.put_shot();
  put_file(bench.scratch / "elsewhere", "treasure\n");
  const std::string what = GENERATE(as<std::string>{}, "link", "loose link", "folder", "pipe");
  CAPTURE(what);
  const auto plant = [&] {
    if (what == "link") fs::create_symlink("elsewhere", bench.journal);
    if (what == "loose link") fs::create_symlink("nowhere", bench.journal);
    if (what == "folder") fs::create_directory(bench.journal);
    if (what == "pipe") REQUIRE(::mkfifo(bench.journal.c_str(), 0600) == 0);
  };
  const auto check = [&](const Error& error) {
    CHECK_THAT(error.line(), Catch::Contains("room.shot.edits: is "));
    if (what.ends_with("link")) CHECK_THAT(error.what, Catch::Contains("symbolic link"));
    CHECK_FALSE(error.remedy.empty());
  };
  SECTION("before the shot is opened") {
    plant();
    const auto session = Session::open(bench.file, plain_shot(), 2);
    REQUIRE_FALSE(session);
    check(session.error());
  }
  SECTION("after it") {
    Session session = bench.open();
    plant();
    const auto edited = session.edit(AddTie{tie_at(1)});
    REQUIRE_FALSE(edited);
    check(edited.error());
    CHECK_FALSE(session.save(std::nullopt));
  }
  CHECK(get_file(bench.scratch / "elsewhere") == "treasure\n");
  CHECK_FALSE(fs::exists(bench.scratch / "nowhere"));
  CHECK(get_file(bench.file) == text);
}

TEST_CASE("a shot file that another program has changed is not saved over") {
  const SessionBench bench;
  bench.put_shot();
  Session session = bench.open();
  REQUIRE(session.edit(AddTie{tie_at(1)}));
  REQUIRE(session.save(std::nullopt));
  const std::string other = format_shot_file(plain_shot());
  put_file(bench.file, other);
  const auto refused = session.save(std::nullopt);
  REQUIRE_FALSE(refused);
  CHECK_THAT(refused.error().line(),
             Catch::Contains("room.shot.yaml: was changed by another program"));
  CHECK(get_file(bench.file) == other);
  fs::rename(bench.file, bench.scratch / "theirs.shot.yaml");
  REQUIRE(session.save(std::nullopt));
  CHECK(read_shot_file(bench.file)->manual_ties == session.state().ties_in_use());
}

TEST_CASE("kept journals of edits, broken on purpose, are understood or set aside", "[fuzz]") {
  const SessionBench bench;
  const std::string text = bench.put_shot();
  const test::Seeds kept = test::kept_seeds("edits");
  CAPTURE(test::seed());
  test::Random random(17);
  int aside = 0;
  int runs = 0;
  for (const auto& [name, sound] : kept) {
    for (int round = 0; round < 30; ++round, ++runs) {
      const auto other =
          std::next(kept.begin(), random.integer(0, static_cast<int>(kept.size()) - 1));
      const std::string journal =
          round > 0 ? test::mutated_bytes(random, sound, other->second) : std::string(sound);
      CAPTURE(name, round, journal);
      put_file(bench.journal, journal);
      {
        const Session session = bench.open();
        aside += session.note().empty() ? 0 : 1;
        // An edit that is lost here is told.
        if (!session.note().empty()) CHECK(session.recovered() == 0);
      }
      CHECK(get_file(bench.file) == text);
      fs::remove(bench.journal);
      fs::remove(bench.journal.string() + ".old");
    }
  }
  CHECK(runs == 90);
  CHECK(aside > 20);
}

TEST_CASE("damaged journals are understood or set aside, and the shot is as it was") {
  const SessionBench bench;
  const std::string text = bench.put_shot();
  {
    Session session = bench.open();
    REQUIRE(session.edit(AddTie{tie_at(1)}));
    REQUIRE(session.edit(AddStroke{stroke_at(0.3)}));
    REQUIRE(session.edit(SwitchTie{1, false}));
    REQUIRE(session.undo());
    REQUIRE(session.edit(RemoveStroke{1}));
  }
  const std::string whole = get_file(bench.journal);
  CAPTURE(test::seed());
  test::Random random(16);
  int understood = 0;
  int aside = 0;
  for (int i = 0; i < 320; ++i) {
    std::string broken = whole;
    const auto at = [&] {
      return static_cast<std::size_t>(random.integer(0, static_cast<int>(broken.size()) - 1));
    };
    const int kind = random.integer(0, 3);
    if (kind == 0) broken[at()] = random.bytes(1)[0];
    if (kind == 1) broken.erase(at(), static_cast<std::size_t>(random.integer(1, 40)));
    if (kind == 2) broken.insert(at(), random.bytes(random.integer(1, 5)));
    if (kind == 3) broken = with_other_type(whole, random);
    CAPTURE(broken);
    put_file(bench.journal, broken);
    {
      const Session session = bench.open();
      ++(session.note().empty() ? understood : aside);
      if (!session.note().empty()) {
        CHECK(session.recovered() == 0);
        CHECK(get_file(bench.journal.string() + ".old") == broken);
      }
    }
    CHECK(get_file(bench.file) == text);
    fs::remove(bench.journal);
    fs::remove(bench.journal.string() + ".old");
  }
  CHECK(understood + aside == 320);
  CHECK(aside > 160);
}
