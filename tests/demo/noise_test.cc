#include "apps/demo/caster/noise.h"

#include <cmath>

#include <catch2/catch.hpp>

#include "apps/demo/caster/hash.h"
#include "apps/demo/caster/material.h"

using namespace seamwright::demo;

TEST_CASE("the bell has mean 0 and variance 1 and is symmetric") {
  constexpr int kCount = 200000;
  double sum = 0;
  double squares = 0;
  double cubes = 0;
  for (std::uint64_t i = 0; i < kCount; ++i) {
    const double x = bell(hash_of(99, i));
    sum += x;
    squares += x * x;
    cubes += x * x * x;
  }
  // Four standard errors: 1/√n of the mean, √(kurtosis − 1)/√n = 1.3/√n of the variance.
  CHECK(std::abs(sum / kCount) < 4 / std::sqrt(kCount));
  CHECK(squares / kCount == Approx(1).margin(4 * 1.3 / std::sqrt(kCount)));
  CHECK(std::abs(cubes / kCount) < 4 * 3.5 / std::sqrt(kCount));
}

TEST_CASE("noise finer than the sample is faded out") {
  const Octaves octaves{.frequency = 2, .count = 8, .gain = 0.8F};
  // Half a cycle a sample: nothing is left.
  CHECK(fractal_noise(0.3F, 0.7F, octaves, 0.3F, 1) == 0);
  // The mean difference between neighbouring samples stays small while the footprint grows with
  // their distance.
  for (const float footprint : {0.001F, 0.01F, 0.1F}) {
    double change = 0;
    double size = 0;
    for (int i = 0; i < 2000; ++i) {
      const float u = 0.37F * static_cast<float>(i);
      const float a = fractal_noise(u, 0.1F, octaves, footprint, 3);
      const float b = fractal_noise(u + 0.25F * footprint, 0.1F, octaves, footprint, 3);
      change += std::abs(a - b);
      size += std::abs(a);
    }
    CAPTURE(footprint);
    CHECK(size > 0);
    CHECK(change < 0.6 * size);
  }
}

TEST_CASE("noise is smooth across lattice lines and negative coordinates") {
  for (int i = -20; i <= 20; ++i) {
    const auto x = static_cast<float>(i);
    CHECK(value_noise(x - 1e-4F, 0.4F, 7) == Approx(value_noise(x + 1e-4F, 0.4F, 7)).margin(1e-3));
    CHECK(std::abs(value_noise(x * 0.77F, x * 1.3F, 9)) <= 1);
  }
  CHECK(floor_int(-0.5F) == -1);
  CHECK(floor_int(-2.0F) == -2);
  CHECK(floor_int(2.9F) == 2);
}

TEST_CASE("every pattern gives a reflectance, sharp or blurred") {
  for (int pattern = 0; pattern <= static_cast<int>(Pattern::glow); ++pattern) {
    const Material material{.pattern = static_cast<Pattern>(pattern), .text = "AB\nC"};
    CAPTURE(pattern);
    for (int i = 0; i < 400; ++i) {
      FacePoint p;
      p.width = 1.2F;
      p.height = 0.8F;
      p.u = 1.2F * lattice_unit(i, 0, 1);
      p.v = 0.8F * lattice_unit(i, 1, 1);
      p.tile_u = 10 * lattice_unit(i, 2, 1) - 5;
      p.tile_v = 10 * lattice_unit(i, 3, 1) - 5;
      p.footprint = i % 2 == 0 ? 1e-4F : 0.3F;
      p.seed = static_cast<std::uint32_t>(i);
      const Surface s = surface_at(material, p);
      for (const float c : {s.albedo.x, s.albedo.y, s.albedo.z}) {
        CHECK(c > 0);
        CHECK(c < 1.5F);
      }
    }
  }
}
