#pragma once

// Panoramas of known scenes, and how far two pictures differ.

#include <cmath>
#include <cstdint>
#include <functional>

#include "imaging/image.h"
#include "projection/equirect.h"
#include "tests/support/random.h"

namespace seamwright::test {

/// Code value 0…1 of a colour in a direction.
using Codes = std::function<double(const Vec3& direction, int colour)>;

[[nodiscard]] inline Image panorama_of(int width, const Codes& codes) {
  Image image(width, width / 2, Channels::rgb, SampleType::u16);
  const Equirect raster{width, width / 2};
  for (int y = 0; y < image.height(); ++y) {
    const auto row = image.row<std::uint16_t>(y);
    for (int x = 0; x < width; ++x) {
      const Vec3 d = raster.direction({x + 0.5, y + 0.5});
      for (int c = 0; c < 3; ++c) {
        row[static_cast<std::size_t>(3 * x + c)] =
            static_cast<std::uint16_t>(std::lround(65535 * codes(d, c)));
      }
    }
  }
  return image;
}

/// Smooth and without a repeat, 0.2…0.8; the finest of its waves has `finest` periods around.
[[nodiscard]] inline Codes waves(double finest) {
  return [finest](const Vec3& d, int c) {
    const double a = std::sin(finest * d.x() + 0.4 * c) * std::cos(0.6 * finest * d.y());
    const double b = std::sin(0.7 * finest * (d.z() - 0.4 * d.y()) + c);
    return 0.5 + 0.15 * (a + b);
  };
}

/// dB against full scale, over what `counts` says (column, row).
[[nodiscard]] inline double psnr_db(const Image& a, const Image& b,
                                    const std::function<bool(int, int)>& counts) {
  double sum = 0;
  std::int64_t count = 0;
  for (int y = 0; y < a.height(); ++y) {
    const auto row_a = a.row<std::uint16_t>(y);
    const auto row_b = b.row<std::uint16_t>(y);
    for (int x = 0; x < a.width(); ++x) {
      if (!counts(x, y)) continue;
      for (int c = 0; c < 3; ++c) {
        const auto i = static_cast<std::size_t>(3 * x + c);
        sum += std::pow((row_a[i] - row_b[i]) / 65535.0, 2);
        ++count;
      }
    }
  }
  return count == 0 ? 0 : -10 * std::log10(std::max(sum / static_cast<double>(count), 1e-12));
}

}  // namespace seamwright::test
