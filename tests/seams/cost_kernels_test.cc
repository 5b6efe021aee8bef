#include "compose/seams/cost_kernels.h"

#include <algorithm>
#include <array>
#include <cstdlib>
#include <vector>

#include <catch2/catch.hpp>

#include "tests/support/instruction_sets.h"
#include "tests/support/random.h"

using namespace seamwright;
using seamwright::test::Random;
using seamwright::test::with_every_target;

namespace {

std::vector<std::int16_t> small_numbers(Random& random, std::size_t count, int most) {
  std::vector<std::int16_t> numbers(count);
  for (auto& number : numbers) number = static_cast<std::int16_t>(random.integer(0, most));
  return numbers;
}

}  // namespace

TEST_CASE("A step of semi-global matching is Hirschmueller's recursion, on every instruction set") {
  CAPTURE(test::seed());
  Random random(71);
  constexpr std::size_t kLabels = 112;
  const auto before = small_numbers(random, kLabels + 2, 900);
  const std::int16_t base = *std::min_element(before.begin() + 1, before.end() - 1);
  std::vector<std::uint8_t> cost(kLabels);
  for (auto& value : cost) value = static_cast<std::uint8_t>(random.integer(0, 255));
  // Equation 13 of Hirschmueller 2008 (PAMI 30:328-341), label by label.
  std::vector<int> expected(kLabels);
  for (std::size_t k = 0; k < kLabels; ++k) {
    const int neighbours = std::min(before[k], before[k + 2]) + 60;
    expected[k] = cost[k] + std::min({int{before[k + 1]}, neighbours, base + 400}) - base;
  }
  const int targets = with_every_target([&] {
    std::vector<std::int16_t> now(kLabels);
    std::vector<std::int16_t> sum(kLabels, 1000);
    std::vector<std::int16_t> other(kLabels);
    std::array<PathStep, 2> steps;
    steps.fill({.before = before.data() + 1,
                .base = base,
                .large_step = 400,
                .labels = kLabels,
                .cost = cost.data(),
                .now = now.data(),
                .sum = sum.data(),
                .least = 0});
    steps[1].now = other.data();
    steps[1].sum = nullptr;
    path_steps(steps, 60);
    CHECK(std::equal(now.begin(), now.end(), expected.begin()));
    CHECK(other == now);
    for (const PathStep& step : steps) {
      CHECK(step.least == *std::min_element(expected.begin(), expected.end()));
    }
    for (std::size_t k = 0; k < kLabels; ++k) CHECK(sum[k] == 1000 + expected[k]);
  });
  CHECK(targets >= 1);
}

TEST_CASE("The window's clipped differences add up as written, on every instruction set") {
  CAPTURE(test::seed());
  Random random(72);
  constexpr std::size_t kCount = 83;
  constexpr std::size_t kStride = kCount + 4;
  auto rows = small_numbers(random, 5 * kStride, 80);
  for (std::size_t i = 3; i < rows.size(); i += 29) rows[i] = kUnseenDifference;
  const std::int16_t* centre = rows.data() + 2 * kStride + 2;
  const int targets = with_every_target([&] {
    std::vector<std::int16_t> sum(kCount);
    window_row(centre, kStride, 26, kCount, sum.data());
    for (std::size_t x = 0; x < kCount; ++x) {
      int expected = 0;
      for (std::size_t dy = 0; dy < 5; ++dy) {
        for (std::size_t dx = 0; dx < 5; ++dx) {
          expected += std::min(std::abs(centre[x] - rows[dy * kStride + x + dx]), 26);
        }
      }
      CHECK(sum[x] == expected);
    }
  });
  CHECK(targets >= 1);
}

TEST_CASE("A row's medians are those of nine sorted values, on every instruction set") {
  CAPTURE(test::seed());
  Random random(74);
  constexpr std::size_t kCount = 59;
  std::array<std::vector<float>, 3> rows;
  for (auto& row : rows) {
    for (std::size_t x = 0; x < kCount + 2; ++x) {
      row.push_back(static_cast<float>(random.integer(0, 6)));  // with ties
    }
  }
  const int targets = with_every_target([&] {
    std::vector<float> to(kCount);
    median_row({rows[0].data() + 1, rows[1].data() + 1, rows[2].data() + 1}, kCount, to.data());
    for (std::size_t x = 0; x < kCount; ++x) {
      std::vector<float> around;
      for (const auto& row : rows) around.insert(around.end(), &row[x], &row[x] + 3);
      std::sort(around.begin(), around.end());
      CHECK(to[x] == around[4]);
    }
  });
  CHECK(targets >= 1);
}

TEST_CASE("A row's differences are the same bits on every instruction set") {
  CAPTURE(test::seed());
  Random random(73);
  constexpr std::size_t kCount = 101;
  std::vector<std::vector<float>> values(5, std::vector<float>(kCount));
  std::vector<std::vector<std::uint8_t>> seen(5, std::vector<std::uint8_t>(kCount, 255));
  for (auto& row : values) {
    for (float& value : row) value = static_cast<float>(random.uniform(-3, 3));
  }
  for (std::size_t x = 0; x < kCount; x += 9) seen[x % 5][x] = 0;
  PartnerRows partner{.value = {}, .seen = {}, .weight = {-0.06F, 0.56F, 0.57F, -0.07F}};
  for (std::size_t i = 0; i < 4; ++i) {
    partner.value[i] = values[i].data();
    partner.seen[i] = seen[i].data();
  }
  with_every_target([&] {
    std::vector<std::int16_t> to(kCount);
    difference_row(values[4].data(), seen[4].data(), partner, 32, kCount, to.data());
    for (std::size_t x = 0; x < kCount; ++x) {
      const float other = -0.06F * values[0][x] + 0.56F * values[1][x] + 0.57F * values[2][x] +
                          -0.07F * values[3][x];
      const bool all = x % 9 != 0;
      const int expected = all ? static_cast<int>(32 * (values[4][x] - other)) : kUnseenDifference;
      CHECK(to[x] == expected);
    }
  });
}
