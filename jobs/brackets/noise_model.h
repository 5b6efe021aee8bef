#pragma once

#include <array>
#include <cstddef>

namespace seamwright {

/// Noise of one frame's signal, linear, full code = 1.0. Photons arrive as a Poisson process, so
/// their variance grows with the signal; reading out adds a constant (Hasinoff, Durand, Freeman
/// 2010; quantisation is part of `read`). One pair a colour channel, because white balance scales
/// them apart. No sensor is a usual one: who wants a model measures it (noise_fit.h) or is told it.
struct NoiseModel {
  std::array<double, 3> shot = {};  ///< variance per signal
  std::array<double, 3> read = {};  ///< variance at no signal, above 0

  [[nodiscard]] double variance(double signal, std::size_t channel) const {
    return shot[channel] * (signal > 0 ? signal : 0) + read[channel];
  }
};

}  // namespace seamwright
