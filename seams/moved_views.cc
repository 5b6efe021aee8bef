#include "seams/moved_views.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <cstddef>
#include <cstdint>

#include "base/catmull_rom.h"
#include "base/parallel.h"

namespace seamwright {

namespace {

constexpr int kRoom = 1 << 20;  // rows that may be negative are made positive by

// One lens' view and where its pixels were read.
struct ReadView {
  const Image& light;
  const Image& state;
  const Image& read_rad;
  const Image& now_rad;
  double px_per_rad;

  // By how many rows of the view the pixel's place has moved.
  [[nodiscard]] double moved_px(int x, int y) const {
    const auto i = static_cast<std::size_t>(x);
    const double moved =
        static_cast<double>(now_rad.row<float>(y)[i] - read_rad.row<float>(y)[i]) * px_per_rad;
    if (moved == 0) return 0;
    // Neighbouring rows were not read a row apart.
    const int above = std::max(0, y - 1);
    const int below = std::min(light.height() - 1, y + 1);
    const double stretch =
        1 + static_cast<double>(read_rad.row<float>(below)[i] - read_rad.row<float>(above)[i]) *
                px_per_rad / (below - above);
    return moved / std::clamp(stretch, 0.5, 2.0);
  }

  void interpolate(int x, double at_row, float* to) const {
    const int channels = light.channel_count();
    const int first = static_cast<int>(at_row + kRoom) - kRoom - 1;
    const auto t = static_cast<float>(at_row - (first + 1));
    const std::array<float, 4> weight = catmull_rom(t);
    std::fill_n(to, channels, 0.0F);
    for (int k = 0; k < 4; ++k) {
      const int row = std::clamp(first + k, 0, light.height() - 1);
      const float* from = light.row<float>(row).data() + x * channels;
      for (int c = 0; c < channels; ++c) to[c] += weight[static_cast<std::size_t>(k)] * from[c];
    }
    for (int c = 0; c < channels; ++c) to[c] = std::max(0.0F, to[c]);
  }

  // Who stands before a pixel is the warp's to say; whether it is clipped goes with its light.
  [[nodiscard]] ViewState state_of(int x, int y, double at_row) const {
    const ViewState own = state_at(state, x, y);
    if (own == ViewState::hidden || own == ViewState::outside) return own;
    const int nearest =
        std::clamp(static_cast<int>(at_row + kRoom + 0.5) - kRoom, 0, light.height() - 1);
    return state_at(state, x, nearest) == ViewState::clipped ? ViewState::clipped : ViewState::good;
  }
};

void move_view(Image& light, Image& state, const ReadView& view) {
  Image moved_light = light;
  Image moved_state = state;
  const int channels = light.channel_count();
  parallel_for(0, light.height(), [&](int y) {
    float* to = moved_light.row<float>(y).data();
    const auto to_state = moved_state.row<std::uint8_t>(y);
    for (int x = 0; x < light.width(); ++x, to += channels) {
      const double by = view.moved_px(x, y);
      if (by == 0) continue;
      view.interpolate(x, y + by, to);
      to_state[static_cast<std::size_t>(x)] =
          static_cast<std::uint8_t>(view.state_of(x, y, y + by));
    }
  });
  light = std::move(moved_light);
  state = std::move(moved_state);
}

}  // namespace

void move_views(SeamViews& views, const ViewShifts& read, const ViewWarp& warp) {
  assert(views.light_a.width() == warp.grid.width_px);
  assert(views.light_a.height() == warp.grid.height_px);
  const double scale = warp.grid.px_per_rad;
  move_view(views.light_a, views.state_a,
            {views.light_a, views.state_a, read.a_rad, warp.shift_a_rad, scale});
  move_view(views.light_b, views.state_b,
            {views.light_b, views.state_b, read.b_rad, warp.shift_b_rad, scale});
}

}  // namespace seamwright
