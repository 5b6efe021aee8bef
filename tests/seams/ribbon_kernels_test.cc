#include "compose/seams/ribbon_kernels.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <catch2/catch.hpp>

#include "base/catmull_rom.h"
#include "compose/seams/baseline_view.h"
#include "compose/seams/binary_log.h"
#include "compose/seams/viewpoint_slide.h"
#include "tests/support/instruction_sets.h"
#include "tests/support/random.h"

using namespace seamwright;
using seamwright::test::Random;
using seamwright::test::with_every_target;

namespace {

constexpr double kHalf_m = 0.012;
constexpr double kTold_rad = 1e-7;  // as the kernels' header says

// A ring with an overlap of 24 degrees, narrow in one place.
RibbonGrid ring_of(int width) {
  RibbonGrid grid{.axes = RibbonAxes(Vec3::UnitZ())};
  grid.width_px = width;
  grid.height_px = 200;
  grid.px_per_rad = width / (2 * kPi);
  grid.psi_begin_rad = 0;
  grid.eta_begin_rad = rad_from_deg(70);
  grid.closed = true;
  return grid;
}

ViewpointSlide slide_on(const RibbonGrid& grid) {
  std::vector<SlideColumn> columns(
      static_cast<std::size_t>(grid.width_px),
      {.begin_rad = rad_from_deg(78), .end_rad = rad_from_deg(102), .strength = 1});
  for (std::size_t x = 100; x < 140; ++x) columns[x].end_rad = rad_from_deg(82);
  return {kHalf_m, grid, columns};
}

// Inverse distances from far away to where only the exact formulas reach.
std::vector<float> distances(Random& random, std::size_t count) {
  std::vector<float> inverse_m(count);
  for (float& inverse : inverse_m) inverse = static_cast<float>(random.uniform(0, 8));
  inverse_m[0] = 0;
  inverse_m[1] = 60;  // beside the pupils
  return inverse_m;
}

}  // namespace

TEST_CASE("A row of turns is what its points turn by, on every instruction set") {
  CAPTURE(test::seed());
  Random random(11);
  const std::vector<float> inverse_m = distances(random, 301);
  std::vector<float> from_m(inverse_m.size());
  for (float& from : from_m) from = static_cast<float>(random.uniform(-kHalf_m, kHalf_m));
  std::vector<float> first;
  const int targets = with_every_target([&] {
    std::vector<float> all;
    for (double eta = rad_from_deg(60); eta < rad_from_deg(120); eta += 0.1) {
      const Colatitude seen(eta);
      std::vector<float> turn(inverse_m.size());
      turns_seen_from(seen, from_m.data(), -kHalf_m, inverse_m, turn.data());
      for (std::size_t i = 0; i < turn.size(); ++i) {
        const double exact = eta_seen_from(-kHalf_m, static_cast<double>(from_m[i]), eta,
                                           static_cast<double>(inverse_m[i]));
        CHECK(std::abs(static_cast<double>(turn[i]) - (exact - eta)) < kTold_rad);
      }
      all.insert(all.end(), turn.begin(), turn.end());
    }
    if (first.empty()) first = all;
    CHECK(all == first);
  });
  CHECK(targets > 1);
}

TEST_CASE("A row that a walk shows is shown where each point is, on every instruction set") {
  CAPTURE(test::seed());
  Random random(12);
  const RibbonGrid grid = ring_of(600);
  const ViewpointSlide slide = slide_on(grid);
  const std::vector<float> inverse_m = distances(random, 600);
  std::vector<float> first;
  const int targets = with_every_target([&] {
    std::vector<float> all;
    for (double eta = rad_from_deg(72); eta < rad_from_deg(108); eta += 0.05) {
      const Colatitude seen(eta);
      std::vector<float> turn(inverse_m.size());
      slide.shown_turns(0, kHalf_m, seen, inverse_m, turn.data());
      for (std::size_t x = 0; x < turn.size(); ++x) {
        const double exact =
            slide.shown_eta(static_cast<int>(x), kHalf_m, seen, static_cast<double>(inverse_m[x]));
        CHECK(std::abs(static_cast<double>(turn[x]) - (exact - eta)) < kTold_rad);
      }
      all.insert(all.end(), turn.begin(), turn.end());
    }
    if (first.empty()) first = all;
    CHECK(all == first);
  });
  CHECK(targets > 1);
}

TEST_CASE("Offsets of a row are those of the walk") {
  const RibbonGrid grid = ring_of(600);
  const ViewpointSlide slide = slide_on(grid);
  std::vector<float> offset_m(600);
  for (double eta = rad_from_deg(72); eta < rad_from_deg(108); eta += 0.01) {
    slide.offsets_m(0, eta, offset_m);
    for (int x = 0; x < grid.width_px; ++x) {
      const double off = static_cast<double>(offset_m[static_cast<std::size_t>(x)]);
      CHECK(std::abs(off - slide.offset_m(x, eta)) < 1e-6 * kHalf_m);
    }
  }
}

TEST_CASE("A column is interpolated with the one cubic kernel, on every instruction set") {
  CAPTURE(test::seed());
  Random random(17);
  constexpr std::size_t kCount = 131;
  constexpr int kFirst = -4;
  std::vector<std::vector<float>> samples(9, std::vector<float>(kCount));
  std::vector<const float*> rows;
  for (auto& row : samples) {
    for (float& value : row) value = static_cast<float>(random.uniform(0, 1));
    rows.push_back(row.data());
  }
  std::vector<float> by_px(kCount);
  for (float& by : by_px) by = static_cast<float>(random.uniform(-2, 2));
  by_px[3] = 0;  // stays as it is
  std::vector<float> first;
  const int targets = with_every_target([&] {
    std::vector<float> value(kCount, 0.25F);
    interpolate_row(rows, kFirst, by_px.data(), kCount, value.data());
    CHECK(value[3] == 0.25F);
    for (std::size_t i = 0; i < kCount; ++i) {
      if (by_px[i] == 0) continue;
      double sum = 0;
      for (std::size_t k = 0; k < rows.size(); ++k) {
        const double at = kFirst + static_cast<double>(k);
        sum += catmull_rom_weight(at - static_cast<double>(by_px[i])) *
               static_cast<double>(samples[k][i]);
      }
      CHECK(std::abs(static_cast<double>(value[i]) - std::max(sum, 0.0)) < 1e-6);
    }
    if (first.empty()) first = value;
    CHECK(value == first);
  });
  CHECK(targets > 1);
}

TEST_CASE("Logarithms and powers of two in straight lines keep their bounds") {
  int tried = 0;
  for (double power = -20; power < 20; power += 0.00371, ++tried) {
    const auto value = static_cast<float>(std::exp2(power));
    const double log = std::log2(static_cast<double>(value));
    CHECK(std::abs(static_cast<double>(log2_of(value)) - log) < 2e-7 + 1e-7 * std::abs(log));
    const auto exponent = static_cast<float>(power);
    const double exact = std::exp2(static_cast<double>(exponent));
    CHECK(std::abs(static_cast<double>(exp2_of(exponent)) - exact) < 2e-7 * exact);
  }
  CHECK(tried > 10000);
  CHECK(log2_of(1) == 0);
  CHECK(exp2_of(0) == 1);
}

TEST_CASE("A column of the path search takes the cheapest step and the flatter of equals") {
  CAPTURE(test::seed());
  Random random(13);
  constexpr int kRows = 77;
  constexpr int kMost = 3;
  std::vector<double> before(kRows + 2 * kMost, kNoPath);
  std::vector<std::int32_t> node(kRows);
  for (int y = 0; y < kRows; ++y) {
    before[static_cast<std::size_t>(y + kMost)] = kPathUnit * random.integer(0, 20);
    node[static_cast<std::size_t>(y)] = random.integer(0, 1'900'000'000);
  }
  const std::vector<double> step = {0, 2 * kPathUnit, 4 * kPathUnit, 6 * kPathUnit};
  const int targets = with_every_target([&] {
    std::vector<double> to(kRows);
    std::vector<std::int8_t> came(kRows);
    path_column({before.data() + kMost, node.data(), step.data(), kMost}, kRows, to.data(),
                came.data());
    for (int y = 0; y < kRows; ++y) {
      double least = before[static_cast<std::size_t>(y + kMost)];
      int choice = 0;
      for (int d = 1; d <= kMost; ++d) {
        for (const int way : {-1, 1}) {
          const double cost = before[static_cast<std::size_t>(y + kMost + way * d)] +
                              step[static_cast<std::size_t>(d)];
          if (cost < least) least = cost, choice = way < 0 ? 2 * d - 1 : 2 * d;
        }
      }
      const auto i = static_cast<std::size_t>(y);
      CHECK(to[i] == least + kPathUnit * node[i]);
      CHECK(int{came[i]} == choice);
    }
  });
  CHECK(targets > 1);
}
