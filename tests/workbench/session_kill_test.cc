// What is left of a session that is killed, or whose disk is full, at every call to the system.

#include <algorithm>
#include <csignal>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include "tests/support/random.h"
#include "tests/support/scratch_dir.h"
#include "tests/support/watched_calls.h"
#include "tests/workbench/session_bench.h"

using namespace seamwright;
using namespace seamwright::workbench;
using test::SessionBench;
using Kind = test::SystemCall::Kind;
using test::Fate;
using test::get_file;
using test::stroke_at;
using test::tie_at;

namespace {

constexpr int kEdits = 6;

Edit edit_number(int i) {
  if (i % 2 == 0) return AddTie{tie_at(10 + i)};
  return AddStroke{stroke_at(0.1 * i)};
}

/// Six edits with a Save after the second and the fourth; `done(saved)` after each step.
template <class Done>
bool work(Session& session, const Done& done) {
  for (int i = 0; i < kEdits; ++i) {
    if (!session.edit(edit_number(i))) return false;
    done(false);
    if (i != 1 && i != 3) continue;
    if (!session.save(std::nullopt)) return false;
    done(true);
  }
  return true;
}

/// The work unharmed: every state on the way, and the shot file at first and after each Save.
struct Reference {
  std::vector<EditState> states;
  std::vector<std::string> files;

  explicit Reference(bool there) {
    const SessionBench bench;
    files.push_back(there ? bench.put_shot() : std::string());
    Session session = bench.open();
    states.push_back(session.state());
    REQUIRE(work(session, [&](bool saved) {
      if (saved) {
        files.push_back(get_file(bench.file));
      } else {
        states.push_back(session.state());
      }
    }));
  }
};

/// How far a process came that was killed.
struct Steps {
  int edits = 0;
  int saves = 0;
};

/// Does the work in a process of its own, where the call of that number meets its fate.
Steps killed_at(const SessionBench& bench, int at, Fate fate) {
  int ends[2];
  REQUIRE(::pipe(ends) == 0);
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) {
    int calls = 0;
    const test::WatchedCalls watched([&](const test::SystemCall& call) -> Fate {
      if (call.file.starts_with("pipe:") || calls++ != at) return {};
      return fate;
    });
    auto session = Session::open(bench.file, test::plain_shot(), 2);
    const bool whole = session && work(*session, [&](bool saved) {
                         if (::write(ends[1], saved ? "s" : "e", 1) != 1) ::_exit(2);
                       });
    ::_exit(whole ? 0 : 1);  // the call is never reached
  }
  ::close(ends[1]);
  Steps steps;
  for (char step = 0; ::read(ends[0], &step, 1) == 1;) ++(step == 's' ? steps.saves : steps.edits);
  ::close(ends[0]);
  int status = 0;
  REQUIRE(::waitpid(child, &status, 0) == child);
  REQUIRE(WIFSIGNALED(status));
  REQUIRE(WTERMSIG(status) == SIGKILL);
  return steps;
}

/// All that was accepted is there, the shot file is whole, and work goes on.
void check_recovered(const SessionBench& bench, const Reference& reference, const Steps& steps) {
  Session again = bench.open();
  CHECK(again.note().empty());
  const int recovered = again.recovered();
  REQUIRE(recovered >= steps.edits);
  REQUIRE(recovered <= steps.edits + 1);
  CHECK(again.state() == reference.states[static_cast<std::size_t>(recovered)]);
  const std::string file =
      std::filesystem::exists(bench.file) ? get_file(bench.file) : std::string();
  int saves = static_cast<int>(reference.files.size()) - 1;
  while (saves > 0 && file != reference.files[static_cast<std::size_t>(saves)]) --saves;
  CHECK(file == reference.files[static_cast<std::size_t>(saves)]);
  CHECK(saves >= steps.saves);
  CHECK(saves <= steps.saves + 1);
  CHECK(again.unsaved() == (recovered != 2 * saves));
  REQUIRE(again.edit(AddTie{tie_at(99)}));
  REQUIRE(again.save(std::nullopt));
  CHECK(read_shot_file(bench.file)->manual_ties == again.state().ties_in_use());
}

/// The calls of the work, one after the other.
std::vector<test::SystemCall> calls_of_work(bool there) {
  const SessionBench bench;
  if (there) bench.put_shot();
  std::vector<test::SystemCall> calls;
  const test::WatchedCalls watched([&](const test::SystemCall& call) -> Fate {
    calls.push_back(call);
    return {};
  });
  Session session = bench.open();
  REQUIRE(work(session, [](bool) {}));
  return calls;
}

}  // namespace

TEST_CASE("killed at any instant of two Saves, no accepted edit is lost") {
  CAPTURE(test::seed());
  test::Random random(15);
  const bool there = GENERATE(true, false);
  const Reference reference(there);
  const auto calls = calls_of_work(there);
  int kills = 0;
  for (std::size_t i = 0; i < calls.size(); ++i) {
    std::vector<Fate> fates = {{Fate::Kind::kills}, {Fate::Kind::kills_after}};
    if (calls[i].kind == Kind::write) {
      const int most = static_cast<int>(calls[i].write_bytes) - 1;
      fates.push_back({Fate::Kind::kills, static_cast<std::size_t>(random.integer(1, most))});
    }
    for (const Fate& fate : fates) {
      INFO(fmt::format("call {} ({}), fate {} after {} bytes", i, calls[i].file,
                       static_cast<int>(fate.kind), fate.write_bytes));
      const SessionBench bench;
      if (there) bench.put_shot();
      const Steps steps = killed_at(bench, static_cast<int>(i), fate);
      check_recovered(bench, reference, steps);
      ++kills;
    }
  }
  CHECK(kills >= 50);
}

TEST_CASE("a call that fails anywhere in two Saves loses nothing, and work goes on") {
  const bool there = GENERATE(true, false);
  const auto calls = calls_of_work(there);
  int refusals = 0;
  for (std::size_t at = 0; at < calls.size(); ++at) {
    INFO(fmt::format("call {} ({})", at, calls[at].file));
    const SessionBench bench;
    if (there) bench.put_shot();
    EditState last;
    {
      Session session = bench.open();
      std::size_t count = 0;
      const test::WatchedCalls watched([&](const test::SystemCall&) -> Fate {
        if (count++ != at) return {};
        return {Fate::Kind::fails, 3};
      });
      for (int i = 0; i < kEdits; ++i) {
        for (int tries = 0; !session.edit(edit_number(i)); ++refusals, ++tries) REQUIRE(tries == 0);
        if (i == 1 || i == 3) refusals += session.save(std::nullopt) ? 0 : 1;
      }
      last = session.state();
    }
    Session again = bench.open();
    CHECK(again.note().empty());
    CHECK(again.recovered() == kEdits);
    CHECK(again.state() == last);
    CHECK(again.unsaved());
    REQUIRE(again.save(std::nullopt));
    CHECK(read_shot_file(bench.file)->manual_ties == last.ties_in_use());
  }
  CHECK(refusals > 15);
}

TEST_CASE("a full disk refuses edits and Saves for as long as it is full") {
  const SessionBench bench;
  const std::string text = bench.put_shot();
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) {
    static_cast<void>(std::signal(SIGXFSZ, SIG_IGN));
    rlimit limit{};
    ::getrlimit(RLIMIT_FSIZE, &limit);
    const auto disk_holds = [&](rlim_t bytes) {
      const rlimit soft{bytes, limit.rlim_max};
      ::setrlimit(RLIMIT_FSIZE, &soft);
    };
    const auto journal_bytes = [&] { return std::filesystem::file_size(bench.journal); };
    int step = 1;
    const auto must = [&](bool right) {
      if (!right) ::_exit(step);
      ++step;
    };
    Session session = bench.open();
    disk_holds(10);
    must(!session.edit(edit_number(0)));  // not even the first line of the journal
    disk_holds(limit.rlim_max);
    must(bool(session.edit(edit_number(0))));
    disk_holds(journal_bytes() + 10);
    must(!session.edit(edit_number(1)));
    must(!session.undo());
    must(!session.save(std::nullopt));
    disk_holds(limit.rlim_max);
    must(bool(session.edit(edit_number(1))));
    must(bool(session.save(std::nullopt)));
    must(bool(session.edit(edit_number(2))));
    must(bool(session.edit(edit_number(3))));
    ::raise(SIGKILL);
  }
  int status = 0;
  REQUIRE(::waitpid(child, &status, 0) == child);
  if (WIFEXITED(status)) FAIL("step " << WEXITSTATUS(status));
  REQUIRE(WTERMSIG(status) == SIGKILL);
  Session again = bench.open();
  CHECK(again.note().empty());
  CHECK(again.recovered() == 4);
  CHECK(again.unsaved());
  while (again.can_undo()) REQUIRE(again.undo());
  REQUIRE(again.save(std::nullopt));
  CHECK(get_file(bench.file) == text);
}

TEST_CASE("every line of the journal is flushed before its edit is done") {
  const SessionBench bench;
  bench.put_shot();
  Session session = bench.open();
  std::string flushed;
  const test::WatchedCalls watched([&](const test::SystemCall& call) -> Fate {
    if (call.kind == Kind::fsync && call.file == "room.shot.edits")
      flushed = get_file(bench.journal);
    return {};
  });
  for (int i = 0; i < kEdits; ++i) {
    REQUIRE(session.edit(edit_number(i)));
    CHECK(flushed == get_file(bench.journal));
  }
  REQUIRE(session.undo());
  CHECK(flushed == get_file(bench.journal));
  REQUIRE(session.redo());
  CHECK(flushed == get_file(bench.journal));
  CHECK(std::count(flushed.begin(), flushed.end(), '\n') == kEdits + 3);
}

TEST_CASE("of two programs that begin on one shot at once, one is refused") {
  int calls = 0;
  int met = 0;
  for (int at = 0; at <= calls; ++at) {
    INFO("the other one comes at call " << at);
    const SessionBench bench;
    Session one = bench.open();
    Session other = bench.open();
    std::optional<bool> other_accepted;
    bool one_accepted = false;
    {
      int count = 0;
      const test::WatchedCalls watched([&](const test::SystemCall&) -> Fate {
        if (count++ == at) other_accepted = bool(other.edit(AddTie{tie_at(2)}));
        return {};
      });
      one_accepted = bool(one.edit(AddTie{tie_at(1)}));
      calls = count;
    }
    if (!other_accepted) other_accepted = bool(other.edit(AddTie{tie_at(2)}));
    CHECK(one_accepted != *other_accepted);
    const Session looking = bench.open();
    REQUIRE(looking.state().ties.size() == 1);
    CHECK(looking.state().ties[0].tie == tie_at(one_accepted ? 1 : 2));
    ++met;
  }
  CHECK(met >= 5);
}

TEST_CASE("a shot that another process edits is refused until that one ends") {
  const SessionBench bench;
  bench.put_shot();
  int told[2];
  int asked[2];
  REQUIRE(::pipe(told) == 0);
  REQUIRE(::pipe(asked) == 0);
  Session early = bench.open();
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) {
    Session session = bench.open();
    char rest = 0;
    const bool heard = ::write(told[1], session.edit(AddTie{tie_at(1)}) ? "+" : "-", 1) == 1 &&
                       ::read(asked[0], &rest, 1) == 1;
    ::raise(heard ? SIGKILL : SIGABRT);
  }
  char answer = 0;
  REQUIRE(::read(told[0], &answer, 1) == 1);
  CHECK(answer == '+');
  CHECK_FALSE(early.edit(AddTie{tie_at(2)}));
  CHECK(early.shut_out());
  {
    Session late = bench.open();
    CHECK(late.recovered() == 1);
    const auto refused = late.edit(AddTie{tie_at(3)});
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().line(), Catch::Contains("room.shot.edits: is being written by "
                                                       "another program; close"));
    CHECK_FALSE(late.undo());
    CHECK_FALSE(late.save(std::nullopt));
  }
  REQUIRE(::write(asked[1], "!", 1) == 1);
  int status = 0;
  REQUIRE(::waitpid(child, &status, 0) == child);
  CHECK(WTERMSIG(status) == SIGKILL);
  for (const int end : {told[0], told[1], asked[0], asked[1]}) ::close(end);
  Session after = bench.open();
  CHECK_FALSE(after.shut_out());
  CHECK(after.recovered() == 1);
  CHECK(after.edit(AddTie{tie_at(3)}));
}
