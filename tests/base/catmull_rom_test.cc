#include "base/catmull_rom.h"

#include <catch2/catch.hpp>

using namespace seamwright;

TEST_CASE("The cubic's weights are those of Keys' closed form with a = -1/2") {
  // Keys 1981, equation 15, at places where it can be had by hand.
  CHECK(catmull_rom_weight(0) == 1);
  CHECK(catmull_rom_weight(0.5) == 0.5625);
  CHECK(catmull_rom_weight(1) == 0);
  CHECK(catmull_rom_weight(1.5) == -0.0625);
  CHECK(catmull_rom_weight(2) == 0);
  CHECK(catmull_rom_weight(7) == 0);
  CHECK(catmull_rom_weight(-0.5) == 0.5625);
}

TEST_CASE("The four taps are the kernel at their distances, and repeat parabolas") {
  int tried = 0;
  for (int i = 0; i <= 256; ++i, ++tried) {
    const double t = i / 256.0;
    const auto taps = catmull_rom(static_cast<float>(t));
    double sum = 0;
    double slope = 0;
    double square = 0;
    for (int k = 0; k < 4; ++k) {
      const double at = k - 1;  // the second sample stands at 0
      const auto tap = static_cast<double>(taps[static_cast<std::size_t>(k)]);
      CHECK(std::abs(tap - catmull_rom_weight(at - t)) < 2e-7);
      sum += tap;
      slope += tap * at;
      square += tap * at * at;
    }
    CHECK(std::abs(sum - 1) < 2e-7);
    CHECK(std::abs(slope - t) < 4e-7);
    CHECK(std::abs(square - t * t) < 8e-7);
  }
  CHECK(tried == 257);
}
