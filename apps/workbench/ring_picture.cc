#include "apps/workbench/ring_picture.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>

#include "base/parallel.h"
#include "imaging/convert.h"
#include "imaging/transfer.h"

namespace seamwright::workbench {

namespace {

double code(const Image& frame, int x, int y, int channel) {
  const int channels = frame.channel_count();
  const int from = channels >= 3 ? channel : 0;
  x = std::clamp(x, 0, frame.width() - 1);
  y = std::clamp(y, 0, frame.height() - 1);
  return static_cast<double>(frame.row<float>(y)[static_cast<std::size_t>(x * channels + from)]);
}

double between(const Image& frame, const Vec2& px, int channel) {
  const double x = px.x() - 0.5;
  const double y = px.y() - 0.5;
  const int left = static_cast<int>(std::floor(x));
  const int top = static_cast<int>(std::floor(y));
  const double u = x - left;
  const double v = y - top;
  return (1 - v) *
             ((1 - u) * code(frame, left, top, channel) + u * code(frame, left + 1, top, channel)) +
         v * ((1 - u) * code(frame, left, top + 1, channel) +
              u * code(frame, left + 1, top + 1, channel));
}

std::uint8_t shown_code(const Image& frame, double value) {
  const bool linear = frame.transfer == Transfer::linear;
  const double shown = linear ? linear_to_srgb(std::max(0.0, value)) : value;
  return static_cast<std::uint8_t>(std::lround(255 * std::clamp(shown, 0.0, 1.0)));
}

}  // namespace

Image ring_picture(const Image& frame, const MountedLens& lens, const RibbonGrid& grid) {
  const Image codes = to_type(frame, SampleType::f32);
  Image picture(grid.width_px, grid.height_px, Channels::rgb, SampleType::u8);
  parallel_for(0, grid.height_px, [&](int y) {
    const auto row = picture.row<std::uint8_t>(y);
    for (int x = 0; x < grid.width_px; ++x) {
      const auto px = lens.project_direction(grid.direction({x + 0.5, y + 0.5}));
      if (!px) continue;
      for (int c = 0; c < 3; ++c) {
        row[static_cast<std::size_t>(3 * x + c)] = shown_code(codes, between(codes, *px, c));
      }
    }
  });
  return picture;
}

Image for_screen(const Image& picture) {
  const Image codes = to_type(picture, SampleType::f32);
  Image shown(codes.width(), codes.height(), Channels::rgb, SampleType::u8);
  parallel_for(0, codes.height(), [&](int y) {
    const auto row = shown.row<std::uint8_t>(y);
    for (int x = 0; x < codes.width(); ++x) {
      for (int c = 0; c < 3; ++c) {
        row[static_cast<std::size_t>(3 * x + c)] = shown_code(codes, code(codes, x, y, c));
      }
    }
  });
  return shown;
}

}  // namespace seamwright::workbench
