#pragma once

#include <array>
#include <cstddef>

namespace seamwright {

/// Noise of one frame's signal, linear, full code = 1.0. Photons arrive as a Poisson process, so
/// their variance grows with the signal; reading out adds a constant (Hasinoff, Durand, Freeman
/// 2010; quantisation is part of `read`). One pair a colour channel, because white balance scales
/// them apart.
struct NoiseModel {
  std::array<double, 3> shot = {1.0 / 15000, 1.0 / 15000, 1.0 / 15000};  ///< variance per signal
  std::array<double, 3> read = {1e-7, 1e-7, 1e-7};                       ///< variance at no signal

  [[nodiscard]] double variance(double signal, std::size_t channel) const {
    return shot[channel] * (signal > 0 ? signal : 0) + read[channel];
  }
};

}  // namespace seamwright
