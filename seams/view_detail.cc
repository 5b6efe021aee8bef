#include "seams/view_detail.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "base/parallel.h"

namespace seamwright {

namespace {

constexpr float kDetailFloor = 0.004F;  // light added before the logarithm

}  // namespace

Plane shown_by_both(const SeamViews& views) {
  Plane shown(views.light_a.width(), views.light_a.height());
  for (int y = 0; y < shown.height_px; ++y) {
    for (int x = 0; x < shown.width_px; ++x) {
      const bool both = state_at(views.state_a, x, y) == ViewState::good &&
                        state_at(views.state_b, x, y) == ViewState::good;
      shown.row(y)[x] = both ? 1.0F : 0.0F;
    }
  }
  return shown;
}

Plane view_detail(const Image& light, const Plane& shown, double flat_px, bool closed) {
  const int channels = light.channel_count();
  Plane log_light(light.width(), light.height());
  parallel_for(0, light.height(), [&](int y) {
    const auto row = light.row<float>(y);
    for (int x = 0; x < light.width(); ++x) {
      float sum = 0;
      for (int c = 0; c < channels; ++c) {
        sum += std::max(0.0F, row[static_cast<std::size_t>(channels * x + c)]);
      }
      log_light.row(y)[x] =
          shown.row(y)[x] * std::log(kDetailFloor + sum / static_cast<float>(channels));
    }
  });
  const Plane sum = widely_blurred(log_light, flat_px, closed);
  const Plane share = widely_blurred(shown, flat_px, closed);
  for (std::size_t i = 0; i < log_light.value.size(); ++i) {
    if (shown.value[i] > 0) log_light.value[i] -= sum.value[i] / share.value[i];
  }
  return log_light;
}

}  // namespace seamwright
