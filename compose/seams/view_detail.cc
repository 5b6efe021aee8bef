#include "compose/seams/view_detail.h"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "base/parallel.h"
#include "compose/seams/blend_kernels.h"

namespace seamwright {

namespace {

constexpr float kDetailFloor = 0.004F;  // light added before the logarithm

// Log of the channels' mean where `shown`, else 0.
FloatPlane log_light(const Image& light, const FloatPlane& shown) {
  constexpr float kLn2 = 0.69314718055994531F;
  const int channels = light.channel_count();
  const auto width = static_cast<std::size_t>(light.width());
  const float share = 1 / static_cast<float>(channels);
  FloatPlane log(light.width(), light.height());
  parallel_for(0, light.height(), [&](int y) {
    const float* row = light.row<float>(y).data();
    std::vector<float> mean(width);
    for (std::size_t x = 0; x < width; ++x, row += channels) {
      float sum = 0;
      for (int c = 0; c < channels; ++c) sum += std::max(0.0F, row[c]);
      mean[x] = sum * share;
    }
    float* to = log.line(y);
    log_row(mean.data(), kDetailFloor, width, to);
    const float* counts = shown.line(y);
    for (std::size_t x = 0; x < width; ++x) to[x] = counts[x] * (kLn2 * to[x]);
  });
  return log;
}

}  // namespace

FloatPlane shown_by_both(const SeamViews& views) {
  FloatPlane shown(views.light_a.width(), views.light_a.height());
  parallel_for(0, shown.height, [&](int y) {
    const std::uint8_t* a = views.state_a.row<std::uint8_t>(y).data();
    const std::uint8_t* b = views.state_b.row<std::uint8_t>(y).data();
    float* to = shown.line(y);
    constexpr auto kGood = static_cast<std::uint8_t>(ViewState::good);
    for (int x = 0; x < shown.width; ++x) to[x] = a[x] == kGood && b[x] == kGood ? 1.0F : 0.0F;
  });
  return shown;
}

std::array<FloatPlane, 2> view_details(const SeamViews& views, const FloatPlane& shown,
                                       double flat_px) {
  std::array<FloatPlane, 2> detail;
  std::array<FloatPlane, 3> smooth;  // of both and of what is shown
  parallel_for(0, 3, [&](int i) {
    const auto k = static_cast<std::size_t>(i);
    if (k < 2) detail[k] = log_light(k == 0 ? views.light_a : views.light_b, shown);
    smooth[k] = widely_blurred(k < 2 ? detail[k] : shown, flat_px, views.closed);
  });
  parallel_for(0, 2 * shown.height, [&](int i) {
    const auto k = static_cast<std::size_t>(i % 2);
    const int y = i / 2;
    float* to = detail[k].line(y);
    const float* sum = smooth[k].line(y);
    const float* share = smooth[2].line(y);
    const float* counts = shown.line(y);
    for (int x = 0; x < shown.width; ++x) {
      if (counts[x] > 0) to[x] -= sum[x] / share[x];
    }
  });
  return detail;
}

}  // namespace seamwright
