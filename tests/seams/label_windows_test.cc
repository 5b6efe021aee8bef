#include "compose/seams/label_windows.h"

#include <vector>

#include <catch2/catch.hpp>

#include "tests/support/random.h"

using namespace seamwright;
using seamwright::test::Random;

TEST_CASE("the labels of all pixels lie side by side, each pixel's where its tile says",
          "[label_windows]") {
  CAPTURE(test::seed());
  Random random(81);
  constexpr int kWidth = 41;  // the last tiles are cut
  constexpr int kHeight = 35;
  constexpr int kLabels = 64;
  std::vector<LabelRun> runs;
  for (int i = 0; i < 9; ++i) {
    const int count = kLabelsTogether * random.integer(1, 4);
    runs.push_back({random.integer(0, kLabels - count), count});
  }
  const LabelWindows windows(kWidth, kHeight, kLabels, runs);
  REQUIRE(windows.tiles_across() == 3);
  REQUIRE(windows.tiles_down() == 3);
  std::size_t next = 0;
  for (int y = 0; y < kHeight; ++y) {
    CHECK(windows.row_begin(y) == next);
    for (int x = 0; x < kWidth; ++x) {
      REQUIRE(windows.index(x, y) == next);
      const LabelRun& run = runs[static_cast<std::size_t>(3 * (y / 16) + x / 16)];
      REQUIRE(windows.at(x, y) == run);
      next += static_cast<std::size_t>(run.count);
    }
  }
  CHECK(windows.row_begin(kHeight) == next);
  CHECK(windows.size() == next);
}

TEST_CASE("a run is the shortest that holds what is wanted", "[label_windows]") {
  constexpr int kLabels = 96;
  for (int least = 0; least < kLabels; ++least) {
    for (int most = least; most < kLabels; ++most) {
      const LabelRun run = run_around(least, most, kLabels);
      CAPTURE(least, most, run.first, run.count);
      REQUIRE(run.has(least));
      REQUIRE(run.has(most));
      REQUIRE(run.first >= 0);
      REQUIRE(run.end() <= kLabels);
      REQUIRE(run.count % kLabelsTogether == 0);
      REQUIRE(run.count - (most - least + 1) < kLabelsTogether);
    }
  }
}
