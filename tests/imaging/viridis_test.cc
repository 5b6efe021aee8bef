// Against matplotlib's own table, as npm's scale-color-perceptual 1.1.2 publishes it in
// hexadecimal.

#include "imaging/viridis.h"

#include <cstdlib>
#include <utility>
#include <vector>

#include <catch2/catch.hpp>

using namespace seamwright;

TEST_CASE("viridis has the published colours", "[viridis]") {
  const std::vector<std::pair<int, std::array<int, 3>>> published = {
      {0, {0x44, 0x01, 0x54}},   {51, {0x41, 0x44, 0x87}},  {102, {0x2a, 0x78, 0x8e}},
      {153, {0x22, 0xa8, 0x84}}, {204, {0x7a, 0xd1, 0x51}}, {255, {0xfd, 0xe7, 0x25}}};
  for (const auto& [index, wanted] : published) {
    const auto colour = viridis(index / 255.0);
    for (std::size_t c = 0; c < 3; ++c) {
      CAPTURE(index, c);
      CHECK(std::abs(colour[c] - wanted[c]) <= 1);  // OpenCV rounds the table on its own
    }
  }
  CHECK(viridis(-1) == viridis(0));
  CHECK(viridis(7) == viridis(1));
}
