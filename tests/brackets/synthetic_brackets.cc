#include "tests/brackets/synthetic_brackets.h"

#include <algorithm>
#include <cmath>

#include "imaging/transfer.h"

namespace seamwright::test {

double signal_variance(double signal, const Photograph& how) {
  return signal / how.full_well_e + std::pow(how.read_noise_e / how.full_well_e, 2);
}

Frame photograph(int width, int height, const Radiance& radiance, const Photograph& how,
                 Random& random) {
  Frame frame{Image(width, height, Channels::rgb, SampleType::u16), {}};
  frame.image.transfer = how.linear ? Transfer::linear : Transfer::srgb;
  const double c = std::cos(-how.turn_rad);
  const double s = std::sin(-how.turn_rad);
  const auto light_at = [&](double x, double y, int channel) {
    const double du = x - 0.5 * width - how.shift_u_px;
    const double dv = y - 0.5 * height - how.shift_v_px;
    return radiance(0.5 * width + c * du - s * dv, 0.5 * height + s * du + c * dv, channel);
  };
  const auto light_of_pixel = [&](int x, int y, int channel) {
    double sum = 0;
    for (int ray = 0; ray < how.rays * how.rays; ++ray) {
      sum += light_at(x + (ray % how.rays + 0.5) / how.rays, y + (ray / how.rays + 0.5) / how.rays,
                      channel);
    }
    return sum / (how.rays * how.rays);
  };
  for (int y = 0; y < height; ++y) {
    auto row = frame.image.row<std::uint16_t>(y);
    for (int x = 0; x < width; ++x) {
      for (int channel = 0; channel < 3; ++channel) {
        const double signal = how.exposure * light_of_pixel(x, y, channel);
        const double noisy = signal + random.normal(std::sqrt(signal_variance(signal, how)));
        const double cut = std::clamp(noisy, 0.0, 1.0);
        const double code = how.linear ? cut : linear_to_srgb(cut);
        row[static_cast<std::size_t>(3 * x + channel)] =
            static_cast<std::uint16_t>(std::lround(65535 * code));
      }
    }
  }
  return frame;
}

}  // namespace seamwright::test
