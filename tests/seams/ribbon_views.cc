#include "tests/seams/ribbon_views.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "projection/conventions.h"

namespace seamwright::test {

namespace {

void fill(Image& light, const Wall& wall) {
  for (int y = 0; y < light.height(); ++y) {
    const auto row = light.row<float>(y);
    for (int x = 0; x < light.width(); ++x) {
      const Light tone = wall((x + 0.5) / light.width(), (y + 0.5) / light.height());
      for (std::size_t c = 0; c < 3; ++c) {
        row[3 * static_cast<std::size_t>(x) + c] = static_cast<float>(tone[c]);
      }
    }
  }
}

}  // namespace

Light wavy(double x, double y) {
  const double turn = 2 * kPi * x;
  const double wave = 0.5 + 0.12 * std::sin(3 * turn + 2 * y) + 0.1 * std::sin(11 * turn - 9 * y) +
                      0.08 * std::sin(29 * turn + 31 * y) + 0.06 * std::cos(60 * turn - 50 * y);
  return {0.6 * wave, 0.5 * wave, 0.3 + 0.1 * wave};
}

Light plain(double /*x*/, double /*y*/) { return {0.45, 0.4, 0.35}; }

SeamViews ribbon_views(int width, int height, bool closed, const Wall& wall) {
  SeamViews views;
  views.light_a = Image(width, height, Channels::rgb, SampleType::f32);
  fill(views.light_a, wall);
  views.light_b = views.light_a;
  views.state_a = Image(width, height, Channels::grey, SampleType::u8);
  views.state_b = views.state_a;
  views.closed = closed;
  return views;
}

void expose(Image& light, const Light& factor) {
  for (int y = 0; y < light.height(); ++y) {
    const auto row = light.row<float>(y);
    for (std::size_t i = 0; i < row.size(); ++i) {
      row[i] = static_cast<float>(row[i] * factor[i % 3]);
    }
  }
}

void paint(Image& light, int left, int right, int top, int bottom, const Light& tone) {
  for (int y = top; y < bottom; ++y) {
    const auto row = light.row<float>(y);
    for (int x = left; x < right; ++x) {
      const auto at = 3 * static_cast<std::size_t>(x % light.width());
      for (std::size_t c = 0; c < 3; ++c) row[at + c] = static_cast<float>(tone[c]);
    }
  }
}

void mark(Image& raster, int left, int right, int top, int bottom, int value) {
  for (int y = top; y < bottom; ++y) {
    for (int x = left; x < right; ++x) {
      raster.row<std::uint8_t>(y)[static_cast<std::size_t>(x % raster.width())] =
          static_cast<std::uint8_t>(value);
    }
  }
}

Image rotated(const Image& raster, int by) {
  if (raster.empty()) return raster;
  Image result = raster;
  const std::size_t pixel =
      bytes_per_sample(raster.type()) * static_cast<std::size_t>(raster.channel_count());
  for (int y = 0; y < raster.height(); ++y) {
    const auto first =
        result.bytes().begin() +
        static_cast<std::ptrdiff_t>(static_cast<std::size_t>(y) * raster.row_bytes());
    std::rotate(first, first + static_cast<std::ptrdiff_t>(static_cast<std::size_t>(by) * pixel),
                first + static_cast<std::ptrdiff_t>(raster.row_bytes()));
  }
  return result;
}

SeamViews rotated(const SeamViews& views, int by) {
  SeamViews result = views;
  for (Image SeamViews::*raster :
       {&SeamViews::light_a, &SeamViews::light_b, &SeamViews::state_a, &SeamViews::state_b,
        &SeamViews::inverse_m, &SeamViews::confidence, &SeamViews::wish, &SeamViews::dearness}) {
    result.*raster = rotated(views.*raster, by);
  }
  return result;
}

}  // namespace seamwright::test
