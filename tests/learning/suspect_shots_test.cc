#include "jobs/learning/suspect_shots.h"

#include <algorithm>
#include <vector>

#include <catch2/catch.hpp>

namespace seamwright {
namespace {

TieReport report_with(const std::vector<int>& filled_sectors, int cells) {
  PairTieReport pair;
  pair.kept = static_cast<int>(filled_sectors.size());
  for (int sector = 0; sector < cells; ++sector) {
    if (std::find(filled_sectors.begin(), filled_sectors.end(), sector) != filled_sectors.end()) {
      continue;
    }
    pair.empty_sectors_deg.push_back(-180 + 360 * (sector + 0.5) / cells);
  }
  TieReport report;
  report.pairs.push_back(std::move(pair));
  return report;
}

TEST_CASE("ties that crowd in one part of the ring are refused") {
  constexpr int kCells = 36;
  const std::vector<TieReport> crowded = {report_with({3, 4, 5}, kCells),
                                          report_with({4, 5, 6}, kCells)};
  const auto error = crowded_ties(crowded, kCells);
  REQUIRE(error);
  CHECK(error->line() ==
        "ties: all lie within 40 of 360 degrees around the ring; add shots with texture all "
        "around: turn the body between shots");

  // What one shot leaves empty another may fill.
  const std::vector<TieReport> spread = {report_with({0, 1, 2, 3, 4}, kCells),
                                         report_with({18, 19, 20, 21}, kCells)};
  CHECK_FALSE(crowded_ties(spread, kCells));
  CHECK_FALSE(crowded_ties({}, kCells));
}

}  // namespace
}  // namespace seamwright
