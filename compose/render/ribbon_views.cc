#include "compose/render/ribbon_views.h"

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>

#include "base/parallel.h"

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

// Neighbouring columns.
struct ColumnRange {
  int begin = 0;
  int end = 0;
};

// Reads rows of one lens' view, run by run.
class RowReader {
 public:
  // `shift` may be null: at infinity nothing moves, and nothing is known to be hidden.
  RowReader(const RibbonReader& reader, const ViewWarp& warp, const Image* shift, std::uint8_t bit)
      : lens_(reader.lens), sources_(reader.sources), warp_(warp), shift_(shift), bit_(bit) {}

  void read(int y, const ColumnRange& columns, const RasterRefs& rasters) {
    constexpr int kStep = 512;  // columns whose source positions lie near one anchor
    for (int begin = columns.begin; begin < columns.end; begin += kStep) {
      list(y, begin, std::min(begin + kStep, columns.end), rasters);
      if (run_.count > 0) put(y, rasters);
    }
  }

 private:
  // Source positions of the columns that the lens sees.
  void list(int y, int begin, int end, const RasterRefs& rasters) {
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

  void put(int y, const RasterRefs& rasters) {
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
  const RasterRefs refs{rasters.light, rasters.state};
  parallel_for(0, grid.height_px, [&](int y) {
    RowReader(reader, warp, shift, bit).read(y, {0, grid.width_px}, refs);
  });
  return rasters;
}

std::vector<ColumnRange> ranges_of(const std::vector<bool>& columns) {
  std::vector<ColumnRange> ranges;
  const int width = static_cast<int>(columns.size());
  for (int x = 0; x < width; ++x) {
    if (!columns[static_cast<std::size_t>(x)]) continue;
    if (ranges.empty() || ranges.back().end != x) ranges.push_back({x, x});
    ranges.back().end = x + 1;
  }
  return ranges;
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

void read_again(const RibbonReader& a, const RibbonReader& b, const ViewWarp& warp,
                const std::vector<bool>& columns, SeamViews& views) {
  const std::vector<ColumnRange> ranges = ranges_of(columns);
  const RasterRefs of_a{views.light_a, views.state_a};
  const RasterRefs of_b{views.light_b, views.state_b};
  parallel_for(0, warp.grid.height_px, [&](int y) {
    RowReader read_a(a, warp, &warp.shift_a_rad, kSeenByA);
    RowReader read_b(b, warp, &warp.shift_b_rad, kSeenByB);
    for (const ColumnRange& range : ranges) {
      read_a.read(y, range, of_a);
      read_b.read(y, range, of_b);
      const auto first = static_cast<std::size_t>(range.begin);
      const auto count = static_cast<std::size_t>(range.end - range.begin);
      std::ranges::copy(warp.inverse_m.row<float>(y).subspan(first, count),
                        views.inverse_m.row<float>(y).begin() + range.begin);
      std::ranges::copy(warp.confidence.row<float>(y).subspan(first, count),
                        views.confidence.row<float>(y).begin() + range.begin);
    }
  });
}

}  // namespace seamwright
