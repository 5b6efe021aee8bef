#include "apps/workbench/session.h"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <string>

#include <catch2/catch.hpp>

#include "apps/workbench/edit_json.h"
#include "base/file.h"
#include "tests/support/random.h"
#include "tests/support/scratch_dir.h"
#include "tests/workbench/session_bench.h"

using namespace seamwright;
using namespace seamwright::workbench;
using test::edge_at;
using test::get_file;
using test::plain_shot;
using test::put_file;
using test::SessionBench;
using test::stroke_at;
using test::tie_at;

TEST_CASE("undo to the start and save gives the bytes of the shot file back") {
  const SessionBench bench;
  const std::string text = bench.put_shot();
  Session session = bench.open();
  REQUIRE(session.edit(AddTie{tie_at(10)}));
  REQUIRE(session.edit(AddStroke{stroke_at(0.5)}));
  REQUIRE(session.edit(SwitchTie{1, false}));
  REQUIRE(session.edit(AddVertical{edge_at(1.0 / 3)}));
  CHECK(session.unsaved());
  REQUIRE(session.save(std::nullopt));
  CHECK_FALSE(session.unsaved());
  CHECK(get_file(bench.file) != text);
  CHECK(read_shot_file(bench.file)->manual_ties == std::vector{tie_at(10)});

  while (session.can_undo()) REQUIRE(session.undo());
  CHECK(session.unsaved());
  REQUIRE(session.save(std::nullopt));
  CHECK(get_file(bench.file) == text);
  CHECK_FALSE(session.unsaved());
}

TEST_CASE("a journal brings edits, undone ones and saves back") {
  const SessionBench bench;
  const bool there = GENERATE(true, false);
  const std::string text = there ? bench.put_shot() : std::string();
  EditState last;
  {
    Session session = bench.open();
    REQUIRE(session.edit(AddTie{tie_at(10)}));
    REQUIRE(session.save(std::nullopt));
    REQUIRE(session.edit(AddTie{tie_at(11)}));
    REQUIRE(session.edit(AddTie{tie_at(12)}));
    REQUIRE(session.undo());
    last = session.state();
  }  // as if killed: a session has nothing to do when it ends
  Session again = bench.open();
  CHECK(again.state() == last);
  CHECK(again.recovered() == 3);
  CHECK(again.unsaved());
  CHECK(again.can_redo());
  while (again.can_undo()) REQUIRE(again.undo());
  REQUIRE(again.save(std::nullopt));
  if (there) {
    CHECK(get_file(bench.file) == text);
  } else {
    CHECK(read_shot_file(bench.file)->manual_ties.empty());
  }
}

TEST_CASE("upright edges are marked, removed, saved and brought back") {
  const SessionBench bench;
  const bool there = GENERATE(true, false);
  const std::string text = there ? bench.put_shot() : std::string();
  {
    Session session = bench.open();
    REQUIRE(session.edit(AddVertical{edge_at(0.1)}));
    CHECK(session.unsaved());
    REQUIRE(session.edit(AddVertical{edge_at(1.7)}));
    REQUIRE(session.save(std::nullopt));
    CHECK_FALSE(session.unsaved());
    REQUIRE(session.edit(RemoveVertical{1}));
    CHECK(session.unsaved());
    CHECK(session.state().edges() == std::vector{edge_at(1.7)});
  }
  const auto saved = read_shot_file(bench.file);
  REQUIRE(saved);
  REQUIRE(saved->verticals.size() == 2);
  CHECK(saved->verticals[0].ends[0].longitude_rad == Approx(0.1).epsilon(1e-15));
  CHECK(saved->manual_ties.size() == (there ? 1 : 0));
  Session again = bench.open();
  CHECK(again.recovered() == 3);
  CHECK(again.state().edges() == std::vector{edge_at(1.7)});
  REQUIRE(again.undo());
  CHECK(again.state().edges() == std::vector{edge_at(0.1), edge_at(1.7)});
  CHECK_FALSE(again.unsaved());
  while (again.can_undo()) REQUIRE(again.undo());
  REQUIRE(again.save(std::nullopt));
  if (there) {
    CHECK(get_file(bench.file) == text);
  } else {
    CHECK(read_shot_file(bench.file)->verticals.empty());
  }
}

TEST_CASE("a journal cut off anywhere gives the edits that were whole") {
  const SessionBench bench;
  bench.put_shot();
  {
    Session session = bench.open();
    for (int i = 0; i < 4; ++i) REQUIRE(session.edit(AddTie{tie_at(20 + i)}));
  }
  const std::string whole = get_file(bench.journal);
  std::size_t first_line = whole.find('\n') + 1;
  int cases = 0;
  for (std::size_t cut = first_line; cut <= whole.size(); cut += 7) {
    put_file(bench.journal, whole.substr(0, cut));
    Session session = bench.open();
    const auto lines = std::count(whole.begin(), whole.begin() + static_cast<long>(cut), '\n');
    CHECK(session.recovered() == lines - 1);
    CHECK(session.note().empty());
    REQUIRE(session.edit(AddTie{tie_at(1)}));  // and it can be appended to
    CHECK(bench.open().state() == session.state());
    ++cases;
  }
  CHECK(cases > 20);
}

TEST_CASE("killed between the journal's line and the shot file, nothing is taken for saved") {
  const SessionBench bench;
  const std::string text = bench.put_shot();
  {
    Session session = bench.open();
    REQUIRE(session.edit(AddTie{tie_at(10)}));
    REQUIRE(session.save(std::nullopt));
  }
  put_file(bench.file, text);
  const Session again = bench.open();
  CHECK(again.recovered() == 1);
  CHECK(again.unsaved());
}

TEST_CASE("a journal of another state of the shot is set aside, not lost") {
  const SessionBench bench;
  bench.put_shot();
  {
    Session session = bench.open();
    REQUIRE(session.edit(AddTie{tie_at(10)}));
  }
  const std::string journal = get_file(bench.journal);
  const std::string spoiled = GENERATE(as<std::string>{}, "", "no json\n", "{}\n");
  if (spoiled.empty()) {
    put_file(bench.file, format_shot_file(plain_shot()));
  } else {
    put_file(bench.journal, spoiled);
  }
  const Session session = bench.open();
  CHECK(session.recovered() == 0);
  CHECK_FALSE(session.unsaved());
  CHECK_THAT(session.note(), Catch::Contains("room.shot.edits.old"));
  CHECK(get_file(bench.journal.string() + ".old") == (spoiled.empty() ? journal : spoiled));
}

TEST_CASE("two sessions on one shot do not mix their edits") {
  const SessionBench bench;
  bench.put_shot();
  Session one = bench.open();
  Session other = bench.open();
  REQUIRE(one.edit(AddTie{tie_at(10)}));
  const auto refused = other.edit(AddTie{tie_at(11)});
  REQUIRE_FALSE(refused);
  CHECK_THAT(refused.error().line(), Catch::Contains("room.shot.edits"));
  CHECK_FALSE(other.can_undo());
  REQUIRE(one.edit(AddTie{tie_at(12)}));
  const Session looking = bench.open();
  CHECK(looking.state() == one.state());
  CHECK(looking.shut_out());
  CHECK_THAT(looking.note(), Catch::Contains("another program"));
}

TEST_CASE("an id that is gone takes off nothing else, not even after undo") {
  const SessionBench bench;
  Session session = bench.open();
  for (int i = 0; i < 3; ++i) {
    REQUIRE(session.edit(AddTie{tie_at(i)}));
    REQUIRE(session.edit(AddStroke{stroke_at(0.1 * i)}));
    REQUIRE(session.edit(AddVertical{edge_at(0.5 + i)}));
  }
  const std::vector<Edit> removals = {RemoveTie{2}, RemoveStroke{2}, RemoveVertical{2}};
  for (const Edit& removal : removals) {
    CAPTURE(as_json(removal).dump());
    REQUIRE(session.edit(removal));
    const EditState left = session.state();
    const auto again = session.edit(removal);  // as from a page that was not told
    REQUIRE_FALSE(again);
    CHECK_THAT(again.error().line(), Catch::Contains(" 2; ") && Catch::Contains("load the page"));
    CHECK(session.state() == left);
  }
  CHECK(session.state().seam() == std::vector{stroke_at(0), stroke_at(0.2)});
  CHECK(session.state().edges() == std::vector{edge_at(0.5), edge_at(2.5)});

  // What was undone leaves its id unused, and so it is after a kill.
  REQUIRE(session.edit(AddStroke{stroke_at(1)}));
  REQUIRE(session.undo());
  REQUIRE(session.edit(AddStroke{stroke_at(1.1)}));
  CHECK(session.state().strokes.back().id == 5);
  CHECK_FALSE(session.edit(RemoveStroke{4}));
  REQUIRE(session.undo());
  const EditState last = session.state();
  { const Session ended = std::move(session); }
  session = bench.open();
  CHECK(session.state() == last);
  REQUIRE(session.edit(AddStroke{stroke_at(1.2)}));
  CHECK(session.state().strokes.back().id == 6);
}

TEST_CASE("a journal of version 1 named strokes and edges by their place; it is understood") {
  const SessionBench bench;
  const auto line = [](const Edit& edit) { return "{\"edit\":" + as_json(edit).dump() + "}\n"; };
  std::string journal = "{\"format\":\"seamwright-edits\",\"text\":null,\"version\":1}\n";
  journal += line(AddTie{tie_at(1)}) + "{\"undo\":true}\n" + line(AddTie{tie_at(2)});
  journal += line(SwitchTie{1, false});  // ids were given again after undo
  for (int i = 0; i < 3; ++i) {
    journal += line(AddStroke{stroke_at(0.1 * i)}) + line(AddVertical{edge_at(0.5 + i)});
  }
  journal += "{\"edit\":{\"kind\":\"remove-stroke\",\"index\":1}}\n";
  journal += "{\"edit\":{\"kind\":\"remove-stroke\",\"index\":1}}\n";
  journal += "{\"edit\":{\"kind\":\"remove-vertical\",\"index\":0}}\n";
  put_file(bench.journal, journal);
  EditState last;
  {
    Session session = bench.open();
    CHECK(session.note().empty());
    CHECK(session.recovered() == 12);
    CHECK(session.state().ties.size() == 1);
    CHECK_FALSE(session.state().ties[0].on);
    CHECK(session.state().seam() == std::vector{stroke_at(0)});
    CHECK(session.state().edges() == std::vector{edge_at(1.5), edge_at(2.5)});
    REQUIRE(session.edit(AddTie{tie_at(3)}));
    REQUIRE(session.undo());
    REQUIRE(session.edit(AddTie{tie_at(4)}));
    last = session.state();
  }
  CHECK(bench.open().state() == last);
}

TEST_CASE("edits that no shot file could hold are refused and leave no trace") {
  const SessionBench bench;
  bench.put_shot();
  Session session = bench.open();
  const EditState before = session.state();
  ManualTie twice = tie_at(1);
  twice.sights[1].lens = 0;
  ManualTie beyond = tie_at(1);
  beyond.sights[0].lens = 2;
  ManualTie unsure = tie_at(1);
  unsure.sigma_px = 0;
  ManualTie nowhere = tie_at(std::nan(""));
  SeamStroke empty = stroke_at(0);
  empty.path.clear();
  SeamStroke wide = stroke_at(0);
  wide.reach_rad = 2;
  UprightEdge point = edge_at(0.2);
  point.ends[1] = point.ends[0];
  UprightEdge nowhere_else = edge_at(0.2);
  nowhere_else.ends[1].longitude_rad = std::nan("");
  UprightEdge beyond_pole = edge_at(0.2);
  beyond_pole.ends[0].latitude_rad = 2;
  SeamStroke thin = stroke_at(0);
  thin.reach_rad = 5e-324;  // 0 once it is degrees
  const std::vector<Edit> wrong = {
      AddTie{twice},      AddStroke{thin},           AddTie{beyond},           AddTie{unsure},
      AddTie{nowhere},    ChangeTie{9, tie_at(1)},   SwitchTie{9, true},       RemoveTie{0},
      AddStroke{empty},   AddStroke{wide},           RemoveStroke{0},          RemoveStroke{-1},
      AddVertical{point}, AddVertical{nowhere_else}, AddVertical{beyond_pole}, RemoveVertical{0},
      RemoveVertical{-1}};
  for (const Edit& edit : wrong) {
    CAPTURE(as_json(edit).dump());
    const auto done = session.edit(edit);
    REQUIRE_FALSE(done);
    CHECK_FALSE(done.error().remedy.empty());
  }
  CHECK(session.state() == before);
  CHECK_FALSE(std::filesystem::exists(bench.journal));
}

TEST_CASE("edits go through JSON unchanged, and broken JSON is refused without a fall") {
  const std::vector<Edit> edits = {AddTie{tie_at(1.0 / 3)},   ChangeTie{4, tie_at(0.1)},
                                   SwitchTie{1, false},       RemoveTie{2},
                                   AddStroke{stroke_at(0.1)}, RemoveStroke{0},
                                   AddVertical{edge_at(0.1)}, RemoveVertical{3}};
  CAPTURE(test::seed());
  test::Random random;
  int refused = 0;
  for (const Edit& edit : edits) {
    const std::string text = as_json(edit).dump();
    const auto back = edit_of(*parsed(text));
    REQUIRE(back);
    CHECK(as_json(*back).dump() == text);
    for (int i = 0; i < 300; ++i) {
      std::string broken = text;
      const int at = random.integer(0, static_cast<int>(text.size()) - 1);
      broken[static_cast<std::size_t>(at)] = random.bytes(1)[0];
      const auto json = parsed(broken);
      if (!json || !edit_of(*json)) ++refused;
    }
  }
  CHECK(refused > 600);
  CHECK_FALSE(edit_of(*parsed(R"({"kind":"remove-tie","id":1,"more":2})")));
  CHECK_FALSE(edit_of(*parsed("[]")));
  CHECK_FALSE(edit_of(*parsed(R"({"kind":"remove-stroke","index":0})")));
}
