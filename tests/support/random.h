#pragma once

// Seeded randomness for tests. Every random test starts with
//
//   CAPTURE(seed());
//   Random random(1);  // any number: streams of one seed are independent
//
// so that a failure prints the seed, and SEAMWRIGHT_TEST_SEED=<seed> repeats it. Numbers are drawn
// without the standard distributions, whose values differ between standard libraries.

#include <cmath>
#include <cstdint>
#include <cstdlib>
#include <numbers>
#include <random>
#include <string>

namespace seamwright::test {

/// SEAMWRIGHT_TEST_SEED where set, else a fixed number.
[[nodiscard]] inline std::uint64_t seed() {
  const char* given = std::getenv("SEAMWRIGHT_TEST_SEED");
  return given != nullptr ? std::strtoull(given, nullptr, 10) : 20240607U;
}

class Random {
 public:
  explicit Random(std::uint64_t stream = 0)
      : engine_(seed() * 0x9E3779B97F4A7C15U + stream * 0xBF58476D1CE4E5B9U) {}

  [[nodiscard]] std::uint64_t bits() { return engine_(); }
  /// Uniform in [low, high).
  [[nodiscard]] double uniform(double low, double high) {
    return low + (high - low) * (static_cast<double>(bits() >> 11U) * 0x1p-53);
  }
  /// Uniform in [low, high], both included.
  [[nodiscard]] int integer(int low, int high) {
    return low + static_cast<int>(bits() % (static_cast<std::uint64_t>(high - low) + 1));
  }
  /// Normal with mean 0 (Box and Muller 1958).
  [[nodiscard]] double normal(double sigma) {
    const double radius = std::sqrt(-2.0 * std::log(1.0 - uniform(0, 1)));
    return sigma * radius * std::cos(2.0 * std::numbers::pi * uniform(0, 1));
  }
  [[nodiscard]] bool chance(double probability) { return uniform(0, 1) < probability; }
  /// Bytes for parsers to choke on.
  [[nodiscard]] std::string bytes(int count) {
    std::string text;
    for (int i = 0; i < count; ++i) text += static_cast<char>(bits() & 0xFFU);
    return text;
  }

 private:
  std::mt19937_64 engine_;
};

}  // namespace seamwright::test
