#include "features/light_planes.h"

#include <cmath>
#include <cstddef>
#include <span>

#include "base/parallel.h"
#include "imaging/clipping.h"
#include "imaging/transfer.h"

namespace seamwright {

namespace {

template <class T>
void split_row(const Image& frame, const TransferCurve& curve, float clipped_code, int y,
               LightPlanes& planes) {
  const auto codes = frame.row<T>(y);
  std::vector<float> light(codes.size());
  curve.decode_row<T>(codes, frame.channels(), light);
  const auto width = static_cast<std::size_t>(frame.width());
  const auto step = static_cast<std::size_t>(frame.channel_count());
  std::uint8_t* lost = planes.lost.data() + static_cast<std::size_t>(y) * width;
  for (std::size_t c = 0; c < planes.colours.size(); ++c) {
    const auto to = planes.colours[c].row<float>(y);
    for (std::size_t x = 0; x < width; ++x) {
      const float value = light[x * step + c];
      const bool usable =
          std::isfinite(value) &&
          (clipped_code <= 0 || static_cast<float>(codes[x * step + c]) < clipped_code);
      to[x] = std::isfinite(value) ? value : 0.0F;
      if (!usable) lost[x] = 1;
    }
  }
}

}  // namespace

bool LightPlanes::whole(const Vec2& px, int reach_px) const {
  const int x = static_cast<int>(std::floor(px.x()));
  const int y = static_cast<int>(std::floor(px.y()));
  if (x < reach_px || y < reach_px || x + reach_px >= width() || y + reach_px >= height()) {
    return false;
  }
  for (int row = y - reach_px; row <= y + reach_px; ++row) {
    const std::uint8_t* at = lost.data() + static_cast<std::ptrdiff_t>(row) * width() + x;
    for (int dx = -reach_px; dx <= reach_px; ++dx) {
      if (at[dx] != 0) return false;
    }
  }
  return true;
}

Result<LightPlanes> light_planes_of(const Image& frame) {
  const auto curve = TransferCurve::of(frame);
  if (!curve) return fail(curve.error());
  LightPlanes planes;
  const int colours = frame.channel_count() - (has_alpha(frame.channels()) ? 1 : 0);
  for (int c = 0; c < colours; ++c) {
    planes.colours.emplace_back(frame.width(), frame.height(), Channels::grey, SampleType::f32);
  }
  planes.lost.assign(
      static_cast<std::size_t>(frame.width()) * static_cast<std::size_t>(frame.height()), 0);
  parallel_for(0, frame.height(), [&](int y) {
    switch (frame.type()) {
      case SampleType::u8:
        return split_row<std::uint8_t>(frame, *curve, clipping::kNotMeasured * 255.0F, y, planes);
      case SampleType::u16:
        return split_row<std::uint16_t>(frame, *curve, clipping::kNotMeasured * 65535.0F, y,
                                        planes);
      case SampleType::f32:
        return split_row<float>(frame, *curve, 0, y, planes);  // floats do not clip
    }
  });
  return planes;
}

}  // namespace seamwright
