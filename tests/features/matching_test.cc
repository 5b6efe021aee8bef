#include <algorithm>
#include <cmath>
#include <set>

#include <catch2/catch.hpp>

#include "features/even_spread.h"
#include "features/pair_ties.h"
#include "features/strip_keys.h"
#include "features/strip_matcher.h"
#include "tests/features/synthetic_shot.h"
#include "tests/support/random.h"

namespace seamwright::test {

namespace {

StripKey key(double x, double y, int pattern, float size_px = 5) {
  StripKey k;
  k.at = Vec2(x, y);
  k.size_px = size_px;
  Random random(static_cast<std::uint64_t>(pattern) + 100);
  for (auto& value : k.descriptor) value = static_cast<std::uint8_t>(random.integer(0, 120));
  return k;
}

std::vector<StripKey> by_row(std::vector<StripKey> keys) {
  std::sort(keys.begin(), keys.end(),
            [](const StripKey& a, const StripKey& b) { return a.at.y() < b.at.y(); });
  return keys;
}

struct Setting {
  Rig rig = nominal_rig();
  RibbonGrid grid = *matching_grid(rig, 0, 1, 0);
  DisparityRange range{rig, 0, 1, 0.3, 10};
  MatchGate gate{.sideways_rad = rad_from_deg(0.7), .parallax_slack_rad = rad_from_deg(0.5)};

  [[nodiscard]] std::vector<KeyPair> match(const std::vector<StripKey>& a,
                                           const std::vector<StripKey>& b) const {
    return match_keys(a, b, grid, range, gate);
  }
};

}  // namespace

TEST_CASE("the widest disparity is that of a pair's own baseline, with and without a scale",
          "[matching]") {
  // Four lenses in a square, a metre to the first baseline: opposite ones are √2 apart.
  Rig rig = nominal_rig({.lens_count = 4, .baseline_m = 1});
  REQUIRE(rig.baseline(0, 1).norm() == Approx(1));
  REQUIRE(rig.baseline(0, 2).norm() == Approx(std::sqrt(2)));
  for (const bool metric : {true, false}) {
    CAPTURE(metric);
    rig.metric = metric;
    for (const int other : {1, 2}) {
      CAPTURE(other);
      // What a point ten metres, or ten baselines, off beside the pair's middle shows.
      const DisparityRange range(rig, 0, other, 10, 10);
      const double half = 0.5 * rig.baseline(0, other).norm();
      CHECK(range.widest() == Approx(2 * std::atan(half / 10)));
    }
    // A pair that is twice as far apart sees things at the same distance twice as far apart.
    Rig wide = rig;
    wide.lenses[3].pupil = wide.lenses[0].pupil + 2 * (wide.lenses[1].pupil - wide.lenses[0].pupil);
    CHECK(DisparityRange(wide, 0, 3, 10, 10).widest() == Approx(2 * std::atan(1 / 10.0)));
  }
}

TEST_CASE("matches are mutual, inside the gate and distinct", "[matching]") {
  const Setting s;
  const double row = 0.6 * s.grid.height_px;
  SECTION("plain") {
    const auto m = s.match({key(100, row, 1)}, {key(102, row - 8, 1)});
    REQUIRE(m.size() == 1);
    CHECK(m[0].a == 0);
    CHECK(m[0].b == 0);
  }
  SECTION("too far sideways") {
    const double gate_px = s.gate.sideways_rad * s.grid.px_per_rad;
    CHECK(s.match({key(100, row, 1)}, {key(100 + 0.9 * gate_px, row, 1)}).size() == 1);
    CHECK(s.match({key(100, row, 1)}, {key(100 + 1.2 * gate_px, row, 1)}).empty());
  }
  SECTION("behind infinity, and nearer than the nearest") {
    const double slack_px = s.gate.parallax_slack_rad * s.grid.px_per_rad;
    const double eta = s.grid.eta_begin_rad + row / s.grid.px_per_rad;
    const double most_px = s.range.nearest_seen_from_a(eta) * s.grid.px_per_rad;
    CHECK(s.match({key(100, row, 1)}, {key(100, row + 0.9 * slack_px, 1)}).size() == 1);
    CHECK(s.match({key(100, row, 1)}, {key(100, row + 1.2 * slack_px, 1)}).empty());
    CHECK(s.match({key(100, row, 1)}, {key(100, row - most_px, 1)}).size() == 1);
    CHECK(s.match({key(100, row, 1)}, {key(100, row - most_px - 1.2 * slack_px, 1)}).empty());
  }
  SECTION("across the seam of the ring") {
    const double width = s.grid.width_px;
    CHECK(s.match({key(width - 1, row, 1)}, {key(1.5, row, 1)}).size() == 1);
    CHECK(s.match({key(0.5, row, 1)}, {key(width - 2, row, 1)}).size() == 1);
  }
  SECTION("another size") { CHECK(s.match({key(100, row, 1, 5)}, {key(100, row, 1, 12)}).empty()); }
  SECTION("a repeated pattern has rivals and is dropped") {
    CHECK(s.match({key(100, row, 1)}, by_row({key(100, row - 30, 1), key(100, row, 1)})).empty());
    CHECK(s.match(by_row({key(100, row, 1), key(100, row + 8, 1)}), {key(100, row, 1)}).empty());
  }
  SECTION("rivals outside the gate do not count") {
    const auto m = s.match({key(100, row, 1)}, by_row({key(100, row, 1), key(400, row - 1, 1)}));
    REQUIRE(m.size() == 1);
  }
  SECTION("the same place found twice is no rival") {
    const auto m = s.match({key(100, row, 1)}, by_row({key(100, row, 1), key(101.5, row, 1)}));
    CHECK(m.size() == 1);
  }
  SECTION("nothing") {
    CHECK(s.match({}, {key(1, 1, 1)}).empty());
    CHECK(s.match({key(1, 1, 1)}, {}).empty());
  }
}

TEST_CASE("keys are in the ring once, ordered, upright and repeatable", "[matching]") {
  const SyntheticShot& shot = room_shot();
  const RibbonGrid grid = *matching_grid(shot.rig, 0, 1, 0);
  const LensView view(match_plane(shot.frames[0]), shot.rig.lenses[0]);
  const Strip strip = render_strip(view, padded(grid, 64));
  const auto keys = find_keys(strip, 64);
  REQUIRE(keys.size() > 300);
  std::set<std::tuple<double, double, float>> places;
  double last_row = 0;
  int near_seam = 0;
  for (const StripKey& k : keys) {
    CHECK(k.at.x() >= 0);
    CHECK(k.at.x() < grid.width_px);
    CHECK(k.at.y() >= last_row);
    last_row = k.at.y();
    CHECK(places.insert({k.at.x(), k.at.y(), k.size_px}).second);
    near_seam += k.at.x() < 20 || k.at.x() > grid.width_px - 20 ? 1 : 0;
  }
  CHECK(near_seam > 3);
  const auto few = find_keys(strip, 64, {.max_keys = 100});
  CHECK(few.size() == 100);
  const auto again = find_keys(strip, 64);
  REQUIRE(again.size() == keys.size());
  for (std::size_t i = 0; i < keys.size(); ++i) {
    CHECK(again[i].at == keys[i].at);
    CHECK(again[i].descriptor == keys[i].descriptor);
  }
}

TEST_CASE("an even spread takes turns from cell to cell", "[matching]") {
  const std::vector<SpreadItem> items = {{0, 5}, {0, 9}, {0, 7}, {1, 1}, {2, 2}, {2, 8}};
  CHECK(spread_evenly(items, 3) == std::vector<int>{1, 3, 5});
  CHECK(spread_evenly(items, 4) == std::vector<int>{1, 2, 3, 5});
  CHECK(spread_evenly(items, 5) == std::vector<int>{1, 2, 3, 4, 5});
  CHECK(spread_evenly(items, 100) == std::vector<int>{0, 1, 2, 3, 4, 5});
  CHECK(spread_evenly(items, 0).empty());
  CHECK(spread_evenly({}, 10).empty());
}

}  // namespace seamwright::test
