#include "base/side_by_side.h"

#include <atomic>
#include <chrono>
#include <stdexcept>
#include <thread>
#include <vector>

#include <catch2/catch.hpp>

#include "base/parallel.h"

using namespace seamwright;

TEST_CASE("every piece is done once, by as many threads as asked for") {
  const int at_once = GENERATE(1, 3, 100);
  CAPTURE(at_once);
  std::vector<std::atomic<int>> done(40);
  std::atomic<int> now = 0;
  std::atomic<int> most = 0;
  side_by_side(0, 40, at_once, [&](int i) {
    const int here = ++now;
    int before = most;
    while (here > before && !most.compare_exchange_weak(before, here)) {
    }
    parallel_for(0, 8, [&](int) { std::this_thread::yield(); });
    ++done[static_cast<std::size_t>(i)];
    --now;
  });
  for (const auto& count : done) CHECK(count == 1);
  CHECK(most <= at_once);
}

TEST_CASE("one at a time is the caller's own thread, in order") {
  std::vector<int> order;
  const auto caller = std::this_thread::get_id();
  side_by_side(3, 7, 1, [&](int i) {
    CHECK(std::this_thread::get_id() == caller);
    order.push_back(i);
  });
  CHECK(order == std::vector<int>{3, 4, 5, 6});
  side_by_side(3, 3, 4, [&](int) { FAIL("nothing is to be done"); });
}

TEST_CASE("what a piece throws comes out, and no piece is begun after it") {
  std::atomic<int> begun = 0;
  CHECK_THROWS_AS(side_by_side(0, 1000, 2,
                               [&](int i) {
                                 ++begun;
                                 if (i == 1) throw std::runtime_error("a fault");
                                 std::this_thread::sleep_for(std::chrono::milliseconds(1));
                               }),
                  std::runtime_error);
  CHECK(begun < 1000);
}
