#include "compose/ribbon_views.h"

#include <algorithm>
#include <array>
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

// Reads rows of one lens' view, run by run.
class RowReader {
 public:
  // `shift` may be null: at infinity nothing moves, and nothing is known to be hidden.
  RowReader(const RibbonReader& reader, const ViewWarp& warp, const Image* shift, std::uint8_t bit)
      : lens_(reader.lens), sources_(reader.sources), warp_(warp), shift_(shift), bit_(bit) {}

  void read(int y, LensRasters& rasters) {
    const int width = warp_.grid.width_px;
    constexpr int kStep = 512;  // columns whose source positions lie near one anchor
    for (int begin = 0; begin < width; begin += kStep) {
      list(y, begin, std::min(begin + kStep, width), rasters);
      if (run_.count > 0) put(y, rasters);
    }
  }

 private:
  // Source positions of the columns that the lens sees.
  void list(int y, int begin, int end, LensRasters& rasters) {
    const RibbonGrid& grid = warp_.grid;
    const auto state = rasters.state.row<std::uint8_t>(y);
    const float* shift = shift_ == nullptr ? nullptr : shift_->row<float>(y).data();
    const double eta = eta_of_row(grid, y + 0.5);
    run_.count = 0;
    for (int x = begin; x < end; ++x) {
      const double moved = shift == nullptr ? 0.0 : static_cast<double>(shift[x]);
      const auto px = sources_.at(x, eta + moved);
      if (!px) {
        state[static_cast<std::size_t>(x)] = static_cast<std::uint8_t>(ViewState::outside);
        continue;
      }
      if (run_.count == 0) {
        run_.anchor_x = static_cast<int>(px->x());
        run_.anchor_y = static_cast<int>(px->y());
      }
      column_[run_.count] = static_cast<std::size_t>(x);
      run_.set(run_.count++, *px);
    }
  }

  void put(int y, LensRasters& rasters) {
    lens_.shader.light(run_, {}, light_, code_);
    const auto colours = static_cast<std::size_t>(lens_.shader.colours());
    const auto light = rasters.light.row<float>(y);
    const auto state = rasters.state.row<std::uint8_t>(y);
    const auto seen_by = warp_.seen_by.row<std::uint8_t>(y);
    for (std::size_t k = 0; k < run_.count; ++k) {
      const std::size_t x = column_[k];
      for (std::size_t c = 0; c < colours; ++c) light[x * colours + c] = light_[c][k];
      const bool shown = shift_ == nullptr || (seen_by[x] & bit_) != 0;
      const ViewState is = !shown                           ? ViewState::hidden
                           : lens_.shader.clipped(code_, k) ? ViewState::clipped
                                                            : ViewState::good;
      state[x] = static_cast<std::uint8_t>(is);
    }
  }

  const LensReader& lens_;
  const RibbonSources& sources_;
  const ViewWarp& warp_;
  const Image* shift_;
  std::uint8_t bit_;
  SourceRun run_;
  std::array<std::size_t, kMostRun> column_;
  RunColours light_;
  RunColours code_;
};

LensRasters rasters_of(const RibbonReader& reader, const ViewWarp& warp, const Image* shift,
                       std::uint8_t bit) {
  const RibbonGrid& grid = warp.grid;
  const Channels channels = reader.lens.shader.colours() == 3 ? Channels::rgb : Channels::grey;
  LensRasters rasters{
      .light = Image(grid.width_px, grid.height_px, channels, SampleType::f32),
      .state = Image(grid.width_px, grid.height_px, Channels::grey, SampleType::u8)};
  parallel_for(0, grid.height_px,
               [&](int y) { RowReader(reader, warp, shift, bit).read(y, rasters); });
  return rasters;
}

}  // namespace

SeamViews ribbon_views(const RibbonReader& a, const RibbonReader& b, const ViewWarp& warp,
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
