#include "jobs/brackets/connected.h"

#include <algorithm>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "tests/support/random.h"

using namespace seamwright;
using namespace seamwright::test;

TEST_CASE("regions touch by corners too, and are numbered by their first pixel in row order",
          "[connected]") {
  const std::vector<std::string> drawn = {
      "...##...#",  //
      "...#...#.",  //
      "#........",  //
      "##.....##",  //
      ".......#.",  //
  };
  const std::vector<std::string> wanted = {
      "000110002",  //
      "000100020",  //
      "300000000",  //
      "330000044",  //
      "000000040",  //
  };
  Mask mask(9, 5);
  for (int y = 0; y < 5; ++y) {
    for (std::size_t x = 0; x < 9; ++x) {
      mask.row(y)[x] = drawn[static_cast<std::size_t>(y)][x] == '#' ? 255 : 0;
    }
  }
  const Regions regions = connected_regions(mask);
  REQUIRE(regions.count() == 4);
  CHECK(regions.size_px == std::vector<int>{0, 3, 2, 3, 3});
  for (int y = 0; y < 5; ++y) {
    for (std::size_t x = 0; x < 9; ++x) {
      CAPTURE(x, y);
      CHECK(regions.label.row(y)[x] == wanted[static_cast<std::size_t>(y)][x] - '0');
    }
  }
}

TEST_CASE("in noise every region is one, whole, and counted in the order of the rows",
          "[connected]") {
  CAPTURE(seed());
  Random random;
  int checked = 0;
  for (const double share : {0.1, 0.35, 0.5, 0.9}) {
    CAPTURE(share);
    Mask mask(131, 67);
    for (std::uint8_t& value : mask.values) value = random.uniform(0, 1) < share ? 255 : 0;
    const Regions regions = connected_regions(mask);
    std::vector<int> size(regions.size_px.size(), 0);
    int highest = 0;
    for (int y = 0; y < mask.height; ++y) {
      for (int x = 0; x < mask.width; ++x) {
        const int label = regions.label.at(x, y);
        REQUIRE((label > 0) == (mask.at(x, y) != 0));
        if (label == 0) continue;
        ++size[static_cast<std::size_t>(label)];
        REQUIRE(label <= highest + 1);
        highest = std::max(highest, label);
        for (int v = y; v <= std::min(y + 1, mask.height - 1); ++v) {
          for (int u = std::max(0, x - 1); u <= std::min(x + 1, mask.width - 1); ++u) {
            if (mask.at(u, v) == 0) continue;
            REQUIRE(regions.label.at(u, v) == label);
            ++checked;
          }
        }
      }
    }
    CHECK(highest == regions.count());
    CHECK(size == regions.size_px);
  }
  CHECK(checked > 10000);
}
