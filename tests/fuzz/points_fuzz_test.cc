// What people type or pipe: points on stdin, ties and patterns of names on the command line, broken
// on purpose. Taken or refused in one line that says which; never a crash, never half a number.

#include <algorithm>
#include <iostream>
#include <sstream>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "apps/cli/console.h"
#include "apps/cli/inspect.h"
#include "apps/cli/tie_text.h"
#include "jobs/brackets/frame_pattern.h"
#include "tests/fuzz/kept_seeds.h"
#include "tests/fuzz/mutate.h"
#include "tests/support/rigs.h"

namespace seamwright {
namespace {

using test::Random;

// A stream of the program's own, fed from and caught in strings while this lives.
class StreamsInHand {
 public:
  explicit StreamsInHand(const std::string& given)
      : in_(given), from_(std::cin.rdbuf(in_.rdbuf())), to_(std::cout.rdbuf(out_.rdbuf())) {
    std::cin.clear();
  }
  StreamsInHand(const StreamsInHand&) = delete;
  StreamsInHand& operator=(const StreamsInHand&) = delete;
  ~StreamsInHand() {
    std::cin.rdbuf(from_);
    std::cout.rdbuf(to_);
  }
  [[nodiscard]] std::string printed() const { return out_.str(); }

 private:
  std::istringstream in_;
  std::ostringstream out_;
  std::streambuf* from_;
  std::streambuf* to_;
};

// Every answer is a line of the input with two or three numbers behind it, or with nan for each.
bool are_answers(const std::string& printed) {
  std::istringstream lines(printed);
  for (std::string line; std::getline(lines, line);) {
    const auto words = std::count(line.begin(), line.end(), ' ') + 1;
    if (words != 6 || line.find("inf") != std::string::npos) return false;
  }
  return printed.empty() || printed.back() == '\n';
}

bool is_one_line(const std::string& text) {
  return !text.empty() && text.find_first_of("\n\r") == std::string::npos;
}

// Any of them.
const std::string& one_of(Random& random, const std::vector<std::string>& texts) {
  return texts[static_cast<std::size_t>(random.integer(0, static_cast<int>(texts.size()) - 1))];
}

TEST_CASE("points on stdin broken on purpose are mapped or refused", "[fuzz]") {
  CAPTURE(test::seed());
  const Rig rig = test::nominal_rig({.width_px = 160, .height_px = 160});
  const Console console = Console(false).hushed();
  const test::Seeds files = test::kept_seeds("points");
  Random random(121);
  int mapped = 0;
  int refused = 0;
  for (const auto& [name, sound] : files) {
    for (int round = 0; round < test::fuzz_rounds(100); ++round) {
      const auto other =
          std::next(files.begin(), random.integer(0, static_cast<int>(files.size()) - 1));
      const std::string text = test::changed_text(random, sound, other->second, round);
      CAPTURE(name, round, text);
      for (const auto direction : {PointDirection::unproject, PointDirection::project}) {
        const StreamsInHand streams(text);
        const auto outcome = inspect_points(rig, direction, console);
        REQUIRE(are_answers(streams.printed()));
        (outcome ? mapped : refused) += 1;
        if (outcome) continue;
        REQUIRE(outcome.error().where.starts_with("stdin:"));
        REQUIRE_FALSE(outcome.error().what.empty());
        REQUIRE(is_one_line(outcome.error().line()));
      }
    }
  }
  CHECK(mapped > 10);
  CHECK(refused > mapped);
}

// The lines of a folder's files.
std::vector<std::string> kept_lines(const std::string& folder) {
  std::vector<std::string> all;
  for (const auto& [name, text] : test::kept_seeds(folder)) {
    std::istringstream lines(text);
    for (std::string line; std::getline(lines, line);) all.push_back(line);
  }
  REQUIRE(all.size() >= 8);
  return all;
}

TEST_CASE("ties on the command line broken on purpose are taken or refused", "[fuzz]") {
  CAPTURE(test::seed());
  Random random(122);
  const std::vector<std::string> ties = kept_lines("ties");
  int taken = 0;
  int refused = 0;
  for (int round = 0; round < test::fuzz_rounds(100); ++round) {
    for (const std::string& sound : ties) {
      const std::string text = test::changed_text(random, sound, one_of(random, ties), round);
      CAPTURE(round, text);
      const auto tie = parse_tie(text, 2);
      (tie ? taken : refused) += 1;
      if (!tie) {
        REQUIRE_FALSE(tie.error().what.empty());
        REQUIRE(is_one_line(tie.error().line()));
        continue;
      }
      REQUIRE(tie->sights.size() == 2);
      REQUIRE(tie->sigma_px > 0);
      for (const ManualSight& sight : tie->sights) REQUIRE(sight.px.allFinite());
    }
  }
  CHECK(taken > 10);
  CHECK(refused > taken);
}

TEST_CASE("patterns of names broken on purpose are taken or refused", "[fuzz]") {
  CAPTURE(test::seed());
  Random random(123);
  const std::vector<std::string> patterns = kept_lines("patterns");
  int taken = 0;
  int refused = 0;
  for (int round = 0; round < test::fuzz_rounds(60); ++round) {
    for (const std::string& sound : patterns) {
      const std::string text = test::changed_text(random, sound, one_of(random, patterns), round);
      CAPTURE(round, text);
      const auto pattern = FramePattern::parse(text);
      (pattern ? taken : refused) += 1;
      if (!pattern) {
        REQUIRE(is_one_line(pattern.error().line()));
        continue;
      }
      // Short names: how long a person's own pattern may take is his.
      for (const char* name : {"a_front.tif", "12ab", "", "h\xF6hle_b"}) {
        for (const auto& [group, part] : pattern->match(name)) {
          REQUIRE(pattern->has(group));
          REQUIRE(std::string(name).find(part) != std::string::npos);
        }
      }
    }
  }
  CHECK(taken > 10);
  CHECK(refused > 10);
}

}  // namespace
}  // namespace seamwright
