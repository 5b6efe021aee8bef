#pragma once

#include <cstdint>
#include <vector>

#include "apps/demo/film.h"
#include "imaging/image.h"
#include "imaging/transfer.h"

namespace seamwright::demo {

/// From light to code values. Signal 1.0 is a full photosite and becomes code 65535.
struct Sensor {
  double full_well_e = 15000;  ///< electrons at signal 1.0
  double read_noise_e = 5;     ///< standard deviation, electrons

  /// Standard deviation of a signal's noise: photons and read-out.
  [[nodiscard]] double noise(double signal) const;
};

/// One lens' exposure.
struct Exposure {
  Rgb gain = {1, 1, 1};        ///< signal per light
  const Lens* lens = nullptr;  ///< for its vignetting; null: none
  std::uint64_t noise_seed = 0;
  bool noisy = true;
};

/// Rows of a band into a 16-bit sRGB-coded picture: gain, vignetting, noise, clipping, coding.
void develop_band(const Band& band, const Exposure& exposure, const Sensor& sensor,
                  const TransferCurve& curve, Image& image);

/// ICC profile of sRGB (IEC 61966-2-1): the same bytes every time, its date left blank.
std::vector<std::byte> srgb_profile();

}  // namespace seamwright::demo
