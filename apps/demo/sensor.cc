#include "apps/demo/sensor.h"

#include <algorithm>
#include <cmath>
#include <memory>

#include <lcms2.h>

#include "apps/demo/caster/hash.h"

namespace seamwright::demo {
namespace {

struct CloseProfile {
  void operator()(void* profile) const { cmsCloseProfile(profile); }
};

std::uint16_t code_of(float signal, const TransferCurve& curve, int channel) {
  const float code = curve.from_linear(std::clamp(signal, 0.0F, 1.0F), channel);
  return static_cast<std::uint16_t>(std::clamp(code, 0.0F, 1.0F) * 65535.0F + 0.5F);
}

}  // namespace

double Sensor::noise(double signal) const {
  const double electrons = std::max(0.0, signal) * full_well_e;
  return std::sqrt(electrons + read_noise_e * read_noise_e) / full_well_e;
}

void develop_band(const Band& band, const Exposure& exposure, const Sensor& sensor,
                  const TransferCurve& curve, Image& image) {
  const double rim = exposure.lens != nullptr ? exposure.lens->rim_radius_px() : 1;
  std::size_t next = 0;
  for (int y = band.first_row; next < band.pixels.size(); ++y) {
    const auto row = image.row<std::uint16_t>(y);
    for (int x = 0; x < band.width_px; ++x) {
      double shade = 1;
      if (exposure.lens != nullptr) {
        const double r_hat = (Vec2(x + 0.5, y + 0.5) - exposure.lens->centre_px()).norm() / rim;
        shade = exposure.lens->vignetting.gain(std::min(1.05, r_hat));
      }
      const Rgb signal = band.pixels[next++] * exposure.gain * static_cast<float>(shade);
      const float channels[3] = {signal.x, signal.y, signal.z};
      for (int c = 0; c < 3; ++c) {
        float value = std::min(channels[c], 2.0F);
        if (exposure.noisy) {
          const auto h = hash_of(exposure.noise_seed, static_cast<std::uint64_t>(y),
                                 static_cast<std::uint64_t>(x), static_cast<std::uint64_t>(c));
          value += static_cast<float>(sensor.noise(value)) * bell(h);
        }
        row[static_cast<std::size_t>(3 * x + c)] = code_of(value, curve, c);
      }
    }
  }
}

std::vector<std::byte> srgb_profile() {
  const std::unique_ptr<void, CloseProfile> profile(cmsCreate_sRGBProfile());
  cmsUInt32Number size = 0;
  if (!profile || !cmsSaveProfileToMem(profile.get(), nullptr, &size)) {
    return {};
  }
  std::vector<std::byte> bytes(size);
  if (!cmsSaveProfileToMem(profile.get(), bytes.data(), &size) || bytes.size() < 128) {
    return {};
  }
  // Header bytes 24–35 are the date, 84–99 the profile's checksum (ICC.1:2010, 7.2).
  std::fill(bytes.begin() + 24, bytes.begin() + 36, std::byte{0});
  std::fill(bytes.begin() + 84, bytes.begin() + 100, std::byte{0});
  return bytes;
}

}  // namespace seamwright::demo
