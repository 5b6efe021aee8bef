#include "compose/ribbon_views.h"

#include <cstddef>
#include <cstdint>

#include "base/parallel.h"
#include "seams/baseline_view.h"

namespace seamwright {

namespace {

struct LensRasters {
  Image light;
  Image state;
};

ViewState state_of(const LensReader& lens, const Vec2& px, bool shown) {
  if (!shown) return ViewState::hidden;
  return lens.shader.clipped(px) ? ViewState::clipped : ViewState::good;
}

// `shift` may be null: at infinity nothing moves, and nothing is known to be hidden.
LensRasters rasters_of(const LensReader& lens, const ViewWarp& warp, const Image* shift,
                       std::uint8_t bit) {
  const RibbonGrid& grid = warp.grid;
  const int colours = lens.shader.colours();
  LensRasters rasters{
      .light = Image(grid.width_px, grid.height_px, colours == 3 ? Channels::rgb : Channels::grey,
                     SampleType::f32),
      .state = Image(grid.width_px, grid.height_px, Channels::grey, SampleType::u8)};
  parallel_for(0, grid.height_px, [&](int y) {
    const auto light = rasters.light.row<float>(y);
    const auto state = rasters.state.row<std::uint8_t>(y);
    for (int x = 0; x < grid.width_px; ++x) {
      const auto i = static_cast<std::size_t>(x);
      const double moved = shift == nullptr ? 0.0 : static_cast<double>(shift->row<float>(y)[i]);
      const RibbonAngles at{grid.psi_begin_rad + (x + 0.5) / grid.px_per_rad,
                            eta_of_row(grid, y + 0.5) + moved};
      const auto px = lens.map.source_px(grid.axes.direction(at));
      if (!px) {
        state[i] = static_cast<std::uint8_t>(ViewState::outside);
        continue;
      }
      const auto sample = lens.shader.light(*px);
      for (std::size_t c = 0; c < static_cast<std::size_t>(colours); ++c) {
        light[i * static_cast<std::size_t>(colours) + c] = sample[c];
      }
      const bool shown = shift == nullptr || (warp.seen_by.row<std::uint8_t>(y)[i] & bit) != 0;
      state[i] = static_cast<std::uint8_t>(state_of(lens, *px, shown));
    }
  });
  return rasters;
}

}  // namespace

SeamViews ribbon_views(const LensReader& a, const LensReader& b, const ViewWarp& warp,
                       ViewKind kind) {
  const bool warped = kind == ViewKind::warped;
  LensRasters of_a = rasters_of(a, warp, warped ? &warp.shift_a_rad : nullptr, kSeenByA);
  LensRasters of_b = rasters_of(b, warp, warped ? &warp.shift_b_rad : nullptr, kSeenByB);
  return {.light_a = std::move(of_a.light),
          .light_b = std::move(of_b.light),
          .state_a = std::move(of_a.state),
          .state_b = std::move(of_b.state),
          .closed = warp.grid.closed,
          .inverse_m = warp.inverse_m,
          .confidence = warp.confidence,
          .gap_inverse_m = warp.gap_inverse_m,
          .wish = {},
          .dearness = {}};
}

}  // namespace seamwright
