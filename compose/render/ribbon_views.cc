#include "compose/render/ribbon_views.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>

#include "base/parallel.h"
#include "compose/render/moved_sources.h"

namespace seamwright {

namespace {

struct LensRasters {
  Image light;
  Image state;
};

// What is written of one lens.
struct RasterRefs {
  Image& light;
  Image& state;
};

// Which columns are read; null: all.
using AskedColumns = const std::vector<bool>*;

// Reads a cell of one lens' view.
class CellReader {
 public:
  // `shift` may be null: at infinity nothing moves, and nothing is known to be hidden.
  CellReader(const LensReader& lens, const ViewWarp& warp, const Image* shift, std::uint8_t bit)
      : lens_(lens), warp_(warp), shift_(shift), bit_(bit) {}

  void read(const Cell& cell, AskedColumns asked, const RasterRefs& rasters) {
    list(cell, asked);
    if (listed_ == 0) return;
    locate(cell);
    leave_out_unseen(cell, rasters.state);
    if (run_.count > 0) put(cell, rasters);
  }

 private:
  void list(const Cell& cell, AskedColumns asked) {
    listed_ = 0;
    for (int row = 0; row < cell.height; ++row) {
      for (int column = 0; column < cell.width; ++column) {
        if (asked != nullptr && !(*asked)[static_cast<std::size_t>(cell.x + column)]) continue;
        pixel_[listed_++] = Cell::index(column, row);
      }
    }
  }

  // Source positions of the whole cell; no number where the lens does not see.
  void locate(const Cell& cell) {
    const RibbonGrid& grid = warp_.grid;
    const DirectionAt direction_at = [&grid](const Vec2& px) { return grid.direction(px); };
    if (shift_ == nullptr) return fill_sources(lens_.map, direction_at, cell, run_);
    for (int row = 0; row < cell.height; ++row) {
      const float* from = shift_->row<float>(cell.y + row).data() + cell.x;
      float* to = shifts_.data() + Cell::index(0, row);
      std::copy_n(from, cell.width, to);
      std::fill_n(to + cell.width, Cell::kSize - cell.width, to[cell.width - 1]);
    }
    const double room = lens_.map.margin_rad(grid.direction(cell.middle())) - cell.reach_rad(grid);
    if (fill_moved_sources(lens_.map, direction_at, cell, {grid.axes, shifts_}, room, run_)) return;
    locate_exactly(cell);
  }

  // All of the cell, listed or not: where its run is anchored must not depend on what is asked for.
  void locate_exactly(const Cell& cell) {
    const RibbonGrid& grid = warp_.grid;
    bool anchored = false;
    for (int row = 0; row < cell.height; ++row) {
      for (int column = 0; column < cell.width; ++column) {
        const std::size_t i = Cell::index(column, row);
        const double psi = grid.psi_begin_rad + (cell.x + column + 0.5) / grid.px_per_rad;
        const double eta = eta_of_row(grid, cell.y + row + 0.5) + static_cast<double>(shifts_[i]);
        const auto px = lens_.map.source_px(grid.axes.direction({psi, eta}));
        if (px && !anchored) run_.anchor(*px);
        anchored = anchored || px.has_value();
        run_.set(i, px.value_or(Vec2::Constant(std::numeric_limits<double>::quiet_NaN())));
      }
    }
  }

  // What is listed and seen moves to the front of the run.
  void leave_out_unseen(const Cell& cell, Image& state) {
    run_.count = 0;
    for (std::size_t k = 0; k < listed_; ++k) {
      const std::size_t i = pixel_[k];
      if (std::isnan(run_.x[i])) {
        state_at(cell, i, state) = static_cast<std::uint8_t>(ViewState::outside);
        continue;
      }
      run_.x[run_.count] = run_.x[i];
      run_.y[run_.count] = run_.y[i];
      pixel_[run_.count++] = i;
    }
  }

  void put(const Cell& cell, const RasterRefs& rasters) {
    lens_.shader.light(run_, {}, light_, code_);
    const auto colours = static_cast<std::size_t>(lens_.shader.colours());
    for (std::size_t k = 0; k < run_.count; ++k) {
      const std::size_t i = pixel_[k];
      const int y = cell.y + static_cast<int>(i) / Cell::kSize;
      const auto x = static_cast<std::size_t>(cell.x + static_cast<int>(i) % Cell::kSize);
      float* light = rasters.light.row<float>(y).data() + x * colours;
      for (std::size_t c = 0; c < colours; ++c) light[c] = light_[c][k];
      const bool shown = shift_ == nullptr || (warp_.seen_by.row<std::uint8_t>(y)[x] & bit_) != 0;
      const ViewState is = !shown                           ? ViewState::hidden
                           : lens_.shader.clipped(code_, k) ? ViewState::clipped
                                                            : ViewState::good;
      state_at(cell, i, rasters.state) = static_cast<std::uint8_t>(is);
    }
  }

  static std::uint8_t& state_at(const Cell& cell, std::size_t i, Image& state) {
    const int y = cell.y + static_cast<int>(i) / Cell::kSize;
    const auto x = static_cast<std::size_t>(cell.x + static_cast<int>(i) % Cell::kSize);
    return state.row<std::uint8_t>(y)[x];
  }

  const LensReader& lens_;
  const ViewWarp& warp_;
  const Image* shift_;
  std::uint8_t bit_;
  std::size_t listed_ = 0;
  std::array<std::size_t, Cell::kPixels> pixel_;  // that are read, as Cell::index says
  RunPlane shifts_;
  SourceRun run_;
  RunColours light_;
  RunColours code_;
};

LensRasters rasters_of(const LensReader& reader, const ViewWarp& warp, const Image* shift,
                       std::uint8_t bit) {
  const RibbonGrid& grid = warp.grid;
  const Channels channels = reader.shader.colours() == 3 ? Channels::rgb : Channels::grey;
  LensRasters rasters{
      .light = Image(grid.width_px, grid.height_px, channels, SampleType::f32),
      .state = Image(grid.width_px, grid.height_px, Channels::grey, SampleType::u8)};
  const RasterRefs refs{rasters.light, rasters.state};
  const CellTiling tiling{grid.width_px, grid.height_px};
  parallel_for(0, tiling.count(), [&](int i) {
    CellReader(reader, warp, shift, bit).read(tiling.at(i), nullptr, refs);
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

void read_again(const LensReader& a, const LensReader& b, const ViewWarp& warp,
                const std::vector<bool>& columns, SeamViews& views) {
  const RasterRefs of_a{views.light_a, views.state_a};
  const RasterRefs of_b{views.light_b, views.state_b};
  const CellTiling tiling{warp.grid.width_px, warp.grid.height_px};
  parallel_for(0, tiling.count(), [&](int i) {
    const Cell cell = tiling.at(i);
    CellReader(a, warp, &warp.shift_a_rad, kSeenByA).read(cell, &columns, of_a);
    CellReader(b, warp, &warp.shift_b_rad, kSeenByB).read(cell, &columns, of_b);
  });
  views.inverse_m = warp.inverse_m;
  views.confidence = warp.confidence;
}

}  // namespace seamwright
