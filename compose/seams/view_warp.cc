#include "compose/seams/view_warp.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <span>
#include <utility>
#include <vector>

#include "base/parallel.h"
#include "compose/seams/baseline_view.h"
#include "compose/seams/common_view.h"

namespace seamwright {

namespace {

// A viewpoint this close to a pupil, as a share of the way, sees what that pupil sees.
constexpr double kBesidePupil = 0.98;
constexpr float kHidden_px = 0.75F;  // run backwards by more: something stands before it

constexpr int kColumnsRead = 64;  // columns read side by side

// One float a column, of one row.
using BlockRow = std::array<float, kColumnsRead>;

// What a lens reads in some columns, row by row.
struct BlockRead {
  std::vector<BlockRow> turn;    // colatitude that it is read at less the panorama's, rad
  std::vector<BlockRow> hidden;  // 1 where something stands before the point

  explicit BlockRead(int height)
      : turn(static_cast<std::size_t>(height)), hidden(static_cast<std::size_t>(height)) {}
};

// Lens a stands nearer to the pole than the panorama's viewpoint: near things seem farther down to
// it, and hide from it what the panorama shows just below them. A row that would be read above what
// was read before it is such a one; it takes the first reading below that is not.
void unfold(BlockRead& read, float row_rad) {
  BlockRow reach = read.turn.front();
  for (std::size_t y = 1; y < read.turn.size(); ++y) {
    for (std::size_t i = 0; i < kColumnsRead; ++i) {
      const float own = read.turn[y][i];
      const float before = reach[i] - row_rad;  // as it lies to this row
      reach[i] = before > own ? before : own;
      read.hidden[y][i] = own < reach[i] - kHidden_px * row_rad ? 1.0F : 0.0F;
      read.turn[y][i] = reach[i];
    }
  }
  for (std::size_t y = read.turn.size() - 1; y-- > 0;) {
    for (std::size_t i = 0; i < kColumnsRead; ++i) {
      const float next = read.turn[y + 1][i] + row_rad;
      read.turn[y][i] = read.hidden[y][i] > 0 ? next : read.turn[y][i];
    }
  }
}

// The same for lens b, seen in a mirror along the pole.
void unfold_mirrored(BlockRead& read, float row_rad) {
  std::reverse(read.turn.begin(), read.turn.end());
  for (BlockRow& row : read.turn) {
    for (float& turn : row) turn = -turn;
  }
  unfold(read, row_rad);
  for (BlockRow& row : read.turn) {
    for (float& turn : row) turn = -turn;
  }
  std::reverse(read.turn.begin(), read.turn.end());
  std::reverse(read.hidden.begin(), read.hidden.end());
}

// Reads what the lenses show, from the panorama's own depth.
class WarpReader {
 public:
  WarpReader(ViewWarp& warp, const ViewpointSlide& slide)
      : warp_(warp), slide_(slide), rows_(row_colatitudes(warp.grid)) {}

  // Columns [begin, end), at most kColumnsRead, of which only those that `wanted` tells are
  // changed.
  template <class Wanted>
  void read(int begin, int end, const Wanted& wanted) const {
    const int height = warp_.grid.height_px;
    const double half = slide_.half_m();
    const auto columns = static_cast<std::size_t>(end - begin);
    BlockRead of_a(height);
    BlockRead of_b(height);
    BlockRow offset;
    for (int y = 0; y < height; ++y) {
      const auto row = static_cast<std::size_t>(y);
      const auto inverse = std::as_const(warp_.inverse_m)
                               .row<float>(y)
                               .subspan(static_cast<std::size_t>(begin), columns);
      slide_.offsets_m(begin, rows_[row].rad, std::span(offset).first(columns));
      turns_seen_from(rows_[row], offset.data(), half, inverse, of_a.turn[row].data());
      turns_seen_from(rows_[row], offset.data(), -half, inverse, of_b.turn[row].data());
    }
    const auto row_rad = static_cast<float>(1 / warp_.grid.px_per_rad);
    unfold(of_a, row_rad);
    unfold_mirrored(of_b, row_rad);
    for (int y = 0; y < height; ++y) {
      put(begin, y, columns, of_a, of_b, wanted);
    }
  }

 private:
  template <class Wanted>
  void put(int begin, int y, std::size_t columns, const BlockRead& of_a, const BlockRead& of_b,
           const Wanted& wanted) const {
    const auto row = static_cast<std::size_t>(y);
    const auto pupil = static_cast<float>(kBesidePupil * slide_.half_m());
    BlockRow offset;
    slide_.offsets_m(begin, rows_[row].rad, std::span(offset).first(columns));
    const auto shift_a = warp_.shift_a_rad.row<float>(y);
    const auto shift_b = warp_.shift_b_rad.row<float>(y);
    const auto seen_by = warp_.seen_by.row<std::uint8_t>(y);
    for (std::size_t i = 0; i < columns; ++i) {
      const std::size_t x = static_cast<std::size_t>(begin) + i;
      if (!wanted(x)) continue;
      const float strength = warp_.strength[x];
      shift_a[x] = strength * of_a.turn[row][i];
      shift_b[x] = strength * of_b.turn[row][i];
      const bool by_a =
          ((seen_by[x] & kSeenByA) != 0 && of_a.hidden[row][i] == 0) || offset[i] > pupil;
      const bool by_b =
          ((seen_by[x] & kSeenByB) != 0 && of_b.hidden[row][i] == 0) || offset[i] < -pupil;
      seen_by[x] = static_cast<std::uint8_t>((by_a ? kSeenByA : 0) | (by_b ? kSeenByB : 0));
    }
  }

  ViewWarp& warp_;
  const ViewpointSlide& slide_;
  std::vector<Colatitude> rows_;
};

// Calls `work` with the borders of blocks of columns.
template <class Work>
void by_blocks(int width, const Work& work) {
  parallel_for(0, (width + kColumnsRead - 1) / kColumnsRead, [&](int block) {
    work(block * kColumnsRead, std::min(width, (block + 1) * kColumnsRead));
  });
}

// Depth beside a gap in a row: the median of a few pixels from `x` on, going `way`.
float depth_beside(const ViewWarp& warp, const Image& gaps, int x, int y, int way) {
  constexpr std::size_t kPixels = 9;
  const int width = warp.grid.width_px;
  std::vector<float> found;
  for (int step = 0; step < width && found.size() < kPixels; ++step) {
    int at = x + way * step;
    if (!warp.grid.closed && (at < 0 || at >= width)) break;
    at = (at % width + width) % width;
    const auto i = static_cast<std::size_t>(at);
    if (gaps.row<std::uint8_t>(y)[i] == 0) found.push_back(warp.inverse_m.row<float>(y)[i]);
  }
  if (found.empty()) return 0;
  const auto middle = found.begin() + static_cast<std::ptrdiff_t>(found.size() / 2);
  std::nth_element(found.begin(), middle, found.end());
  return *middle;
}

// Fills a row's gaps evenly between the depths to their left and right.
void fill_row(ViewWarp& warp, const Image& gaps, int y) {
  const int width = warp.grid.width_px;
  const auto gap = gaps.row<std::uint8_t>(y);
  const auto inverse = warp.inverse_m.row<float>(y);
  const auto at = [&](int x) { return static_cast<std::size_t>((x % width + width) % width); };
  int first = 0;  // a pixel outside every gap, so that none is met in its middle
  while (first < width && gap[at(first)] != 0) ++first;
  if (!warp.grid.closed || first == width) first = 0;
  std::vector<float> filled(inverse.begin(), inverse.end());
  for (int x = first; x < first + width;) {
    if (gap[at(x)] == 0) {
      ++x;
      continue;
    }
    int end = x;
    while (end < first + width && gap[at(end)] != 0) ++end;
    const float left = depth_beside(warp, gaps, x - 1, y, -1);
    const float right = depth_beside(warp, gaps, end, y, 1);
    for (int i = x; i < end; ++i) {
      const float t = static_cast<float>(i - x + 1) / static_cast<float>(end - x + 1);
      filled[at(i)] = left + t * (right - left);
    }
    x = end;
  }
  std::copy(filled.begin(), filled.end(), inverse.begin());
}

// Running mean down a column over its filled rows: rows were filled each by itself.
void even_out(ViewWarp& warp, int x, const std::vector<int>& rows) {
  constexpr int kReach_px = 12;
  const auto i = static_cast<std::size_t>(x);
  std::vector<float> mean;
  for (const int y : rows) {
    double sum = 0;
    int count = 0;
    for (const int other : rows) {
      if (std::abs(other - y) > kReach_px) continue;
      sum += static_cast<double>(warp.inverse_m.row<float>(other)[i]);
      ++count;
    }
    mean.push_back(static_cast<float>(sum / count));
  }
  for (std::size_t k = 0; k < rows.size(); ++k) warp.inverse_m.row<float>(rows[k])[i] = mean[k];
}

}  // namespace

ViewWarp view_warp(const RibbonDepth& depth, const ViewpointSlide& slide) {
  const RibbonGrid& grid = depth.grid;
  const double half = slide.half_m();
  ViewpointDepth view = depth_along(slide, depth.of_a, depth.of_b, grid, depth.gap_inverse_m);
  ViewWarp warp{
      .grid = grid,
      .half_baseline_m = half,
      .px_per_inverse_m = depth.px_per_inverse_m,
      .shift_a_rad = Image(grid.width_px, grid.height_px, Channels::grey, SampleType::f32),
      .shift_b_rad = Image(grid.width_px, grid.height_px, Channels::grey, SampleType::f32),
      .seen_by = std::move(view.seen_by),
      .inverse_m = std::move(view.inverse_m),
      .confidence = std::move(view.confidence),
      .strength = std::vector<float>(static_cast<std::size_t>(grid.width_px))};
  for (int x = 0; x < grid.width_px; ++x) {
    warp.strength[static_cast<std::size_t>(x)] = static_cast<float>(slide.strength(x));
  }
  const WarpReader reader(warp, slide);
  by_blocks(grid.width_px,
            [&](int begin, int end) { reader.read(begin, end, [](std::size_t) { return true; }); });
  return warp;
}

std::vector<bool> calm_warp(ViewWarp& warp, const ViewpointSlide& slide, const Image& gaps) {
  const RibbonGrid& grid = warp.grid;
  parallel_for(0, grid.height_px, [&](int y) { fill_row(warp, gaps, y); });
  std::vector<std::vector<int>> rows(static_cast<std::size_t>(grid.width_px));  // gaps of a column
  for (int y = 0; y < grid.height_px; ++y) {
    const auto gap = gaps.row<std::uint8_t>(y);
    for (std::size_t x = 0; x < gap.size(); ++x) {
      if (gap[x] != 0) rows[x].push_back(y);
    }
  }
  const WarpReader reader(warp, slide);
  const auto wanted = [&](std::size_t x) { return !rows[x].empty(); };
  by_blocks(grid.width_px, [&](int begin, int end) {
    bool any = false;
    for (int x = begin; x < end; ++x) {
      const auto i = static_cast<std::size_t>(x);
      if (!wanted(i)) continue;
      any = true;
      even_out(warp, x, rows[i]);
    }
    if (!any) return;
    reader.read(begin, end, wanted);
    // Each lens shows what it shows; nothing is known to stand before it.
    for (int x = begin; x < end; ++x) {
      const auto i = static_cast<std::size_t>(x);
      for (const int y : rows[i]) {
        warp.confidence.row<float>(y)[i] = 0;
        warp.seen_by.row<std::uint8_t>(y)[i] = kSeenByA | kSeenByB;
      }
    }
  });
  std::vector<bool> changed;
  for (const auto& gap : rows) changed.push_back(!gap.empty());
  return changed;
}

}  // namespace seamwright
