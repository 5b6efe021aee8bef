#include "imaging/tone_table.h"

#include <cmath>
#include <limits>

#include <catch2/catch.hpp>

namespace seamwright {
namespace {

int codes_lost_by_table(const ToneTable& table) {
  int lost = 0;
  for (int code = 0; code < ToneTable::kCodes; ++code) {
    const float light = table.light_of_codes()[static_cast<std::size_t>(code)];
    if (std::lround(table.from_linear(light) * 65535.0F) != code) ++lost;
  }
  return lost;
}

TEST_CASE("curves with bends return every code", "[imaging][tone]") {
  const auto polygon = [](double code) {
    return code < 0.4 ? 0.1 * code : 0.04 + 1.6 * (code - 0.4);
  };
  CHECK(codes_lost_by_table(ToneTable(polygon)) == 0);
  const auto raised_black = [](double code) { return std::pow(0.05 + 0.95 * code, 2.2); };
  CHECK(codes_lost_by_table(ToneTable(raised_black)) == 0);
}

TEST_CASE("both ways rise strictly", "[imaging][tone]") {
  const ToneTable table([](double code) { return std::pow(code, 2.4); });
  float before = -1;
  for (int code = 0; code < ToneTable::kCodes; ++code) {
    const float light = table.light_of_codes()[static_cast<std::size_t>(code)];
    REQUIRE(light > before);
    before = light;
  }
  before = -1;
  for (double exponent = -60; exponent < 10; exponent += 1.0 / 128) {
    const float code = table.from_linear(static_cast<float>(std::exp2(exponent)));
    REQUIRE(code > before);
    before = code;
  }
}

TEST_CASE("power laws are met with the same relative error down to black", "[imaging][tone]") {
  for (const double gamma : {1.2, 1.8, 2.2, 2.6}) {
    CAPTURE(gamma);
    const ToneTable table([=](double code) { return std::pow(code, gamma); });
    // From the second code on; below it both ways are straight.
    for (double code = 2.0 / 65535; code < 1; code *= 1.01) {
      const auto light = static_cast<float>(std::pow(code, gamma));
      const double step = 1.0 / 65535;
      REQUIRE(table.from_linear(light) == Approx(code).margin(0.1 * step).epsilon(2e-6));
    }
  }
}

TEST_CASE("a flat stretch stays invertible in order", "[imaging][tone]") {
  const auto clipped = [](double code) { return std::min(1.0, std::max(0.0, 1.5 * code - 0.25)); };
  const ToneTable table(clipped);
  CHECK(table.to_linear(0.0F) == 0.0F);
  CHECK(table.to_linear(0.1F) < 1e-6F);
  CHECK(table.to_linear(0.5F) == Approx(0.5));
  CHECK(table.from_linear(0.5F) == Approx(0.5));
  CHECK(table.to_linear(0.9F) > table.to_linear(0.85F));
}

TEST_CASE("values that are no light stay harmless", "[imaging][tone]") {
  const ToneTable table([](double code) { return code * code; });
  CHECK(std::isnan(table.to_linear(std::numeric_limits<float>::quiet_NaN())));
  CHECK(std::isnan(table.from_linear(std::numeric_limits<float>::quiet_NaN())));
  CHECK(table.from_linear(0.0F) == 0.0F);
  CHECK(table.from_linear(-0.25F) == -table.from_linear(0.25F));
  CHECK(table.to_linear(-0.5F) == -table.to_linear(0.5F));
  CHECK(table.from_linear(std::numeric_limits<float>::denorm_min()) >= 0.0F);
  CHECK(table.to_linear(4.0F) == Approx(16.0).epsilon(1e-3));
  CHECK(table.from_linear(100.0F) == Approx(10.0).epsilon(1e-3));
  CHECK(std::isinf(table.from_linear(std::numeric_limits<float>::infinity())));
}

}  // namespace
}  // namespace seamwright
