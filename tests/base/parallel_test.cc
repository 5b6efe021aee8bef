#include "base/parallel.h"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <cstddef>
#include <stdexcept>
#include <vector>

#include <catch2/catch.hpp>

namespace seamwright {

namespace {

std::vector<double> computed(int threads) {
  const ThreadLimit limit(threads);
  std::vector<double> values(5000);
  parallel_for(0, static_cast<int>(values.size()), [&](int i) {
    double sum = 0;
    for (int k = 1; k < 50; ++k) sum += std::sin(0.1 * i * k) / k;
    values[static_cast<std::size_t>(i)] = sum;
  });
  return values;
}

}  // namespace

TEST_CASE("every index runs exactly once", "[parallel]") {
  std::vector<std::atomic<int>> runs(1000);
  parallel_for(100, 900, [&](int i) { ++runs[static_cast<std::size_t>(i)]; });
  int right = 0;
  for (std::size_t i = 0; i < runs.size(); ++i) {
    if (runs[i] == (i >= 100 && i < 900 ? 1 : 0)) ++right;
  }
  CHECK(right == 1000);
}

TEST_CASE("an empty or backward range runs nothing", "[parallel]") {
  int runs = 0;
  parallel_for(5, 5, [&](int) { ++runs; });
  parallel_for(5, 2, [&](int) { ++runs; });
  CHECK(runs == 0);
}

TEST_CASE("same bits with one thread, two, and all", "[parallel]") {
  const std::vector<double> one = computed(1);
  CHECK(one == computed(2));
  CHECK(one == computed(0));
}

TEST_CASE("a limit of one thread keeps everything on the caller's thread in turn", "[parallel]") {
  const ThreadLimit limit(1);
  int inside = 0;
  int most = 0;
  parallel_for(0, 200, [&](int) {
    ++inside;
    most = std::max(most, inside);
    --inside;
  });
  CHECK(most == 1);
}

TEST_CASE("loops within loops finish", "[parallel]") {
  std::atomic<int> runs{0};
  parallel_for(0, 20, [&](int) { parallel_for(0, 20, [&](int) { ++runs; }); });
  CHECK(runs == 400);
}

TEST_CASE("an exception in a body comes out of the loop", "[parallel]") {
  const auto loop = [] {
    parallel_for(0, 100, [](int i) {
      if (i == 57) throw std::runtime_error("57");
    });
  };
  CHECK_THROWS_WITH(loop(), "57");
}

}  // namespace seamwright
