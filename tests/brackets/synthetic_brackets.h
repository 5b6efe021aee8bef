#pragma once

// Brackets with known radiance, photographed by a sensor of shot and read noise.

#include <functional>
#include <vector>

#include "imaging/frame.h"
#include "tests/support/random.h"

namespace seamwright::test {

/// Light of a channel at a continuous position of the reference; 1.0 fills a photosite at
/// exposure 1.
using Radiance = std::function<double(double u, double v, int channel)>;

struct Photograph {
  double exposure = 1;    ///< signal per light, true
  double shift_u_px = 0;  ///< reference pixel p is seen at c + R(turn)(p − c) + shift
  double shift_v_px = 0;
  double turn_rad = 0;
  double full_well_e = 15000;
  double read_noise_e = 5;
  int rays = 1;        ///< per pixel and axis; more round off the edges
  bool linear = true;  ///< codes proportional to light, else sRGB
};

/// 16-bit RGB; each pixel's light is the mean radiance of its rays, its electrons are drawn from a
/// normal distribution of their Poisson variance, cut at black and at full well.
[[nodiscard]] Frame photograph(int width, int height, const Radiance& radiance,
                               const Photograph& how, Random& random);

/// Variance of the signal, full well 1.0.
[[nodiscard]] double signal_variance(double signal, const Photograph& how);

}  // namespace seamwright::test
