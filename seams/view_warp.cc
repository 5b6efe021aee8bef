#include "seams/view_warp.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>
#include <vector>

#include "base/parallel.h"
#include "seams/baseline_view.h"
#include "seams/common_view.h"

namespace seamwright {

namespace {

// A viewpoint this close to a pupil, as a share of the way, sees what that pupil sees.
constexpr double kBesidePupil = 0.98;
constexpr double kHidden_px = 0.75;  // run backwards by more: something stands before it

struct ColumnRead {
  std::vector<double> eta;  // colatitude that the lens is read at, top to bottom
  std::vector<bool> shows;  // the lens shows the point
};

// Lens a stands nearer to the pole than the panorama's viewpoint: near things seem farther down to
// it, and hide from it what the panorama shows just below them. A row that would be read above what
// was read before it is such a one; it takes the first reading below that is not.
void unfold(ColumnRead& column, double px_rad) {
  const std::size_t height = column.eta.size();
  std::vector<double> reach = column.eta;
  for (std::size_t y = 1; y < height; ++y) reach[y] = std::max(reach[y], reach[y - 1]);
  double next = reach.back();
  for (std::size_t y = height; y-- > 0;) {
    if (column.eta[y] < reach[y] - kHidden_px * px_rad) {
      column.shows[y] = false;
      column.eta[y] = next;
    } else {
      column.eta[y] = reach[y];
    }
    next = column.eta[y];
  }
}

// The same for lens b, seen in a mirror along the pole.
void unfold_mirrored(ColumnRead& column, double px_rad) {
  std::reverse(column.eta.begin(), column.eta.end());
  std::reverse(column.shows.begin(), column.shows.end());
  for (double& eta : column.eta) eta = -eta;
  unfold(column, px_rad);
  for (double& eta : column.eta) eta = -eta;
  std::reverse(column.eta.begin(), column.eta.end());
  std::reverse(column.shows.begin(), column.shows.end());
}

// What the lenses read in one column, from the panorama's own depth.
void read_column(ViewWarp& warp, const ViewpointSlide& slide, const std::vector<Colatitude>& rows,
                 int x) {
  const RibbonGrid& grid = warp.grid;
  const double half = slide.half_m();
  const auto height = static_cast<std::size_t>(grid.height_px);
  const auto i = static_cast<std::size_t>(x);
  ColumnRead of_a{std::vector<double>(height), std::vector<bool>(height)};
  ColumnRead of_b = of_a;
  for (int y = 0; y < grid.height_px; ++y) {
    const auto row = static_cast<std::size_t>(y);
    const auto inverse = static_cast<double>(warp.inverse_m.row<float>(y)[i]);
    const std::uint8_t seen = warp.seen_by.row<std::uint8_t>(y)[i];
    const SightedPoint point(slide.offset_m(x, rows[row].rad), rows[row], inverse);
    of_a.eta[row] = point.eta_from(half);
    of_b.eta[row] = point.eta_from(-half);
    of_a.shows[row] = (seen & kSeenByA) != 0;
    of_b.shows[row] = (seen & kSeenByB) != 0;
  }
  unfold(of_a, 1 / grid.px_per_rad);
  unfold_mirrored(of_b, 1 / grid.px_per_rad);
  const double strength = slide.strength(x);
  warp.strength[i] = static_cast<float>(strength);
  for (int y = 0; y < grid.height_px; ++y) {
    const auto row = static_cast<std::size_t>(y);
    const double eta = rows[row].rad;
    warp.shift_a_rad.row<float>(y)[i] = static_cast<float>(strength * (of_a.eta[row] - eta));
    warp.shift_b_rad.row<float>(y)[i] = static_cast<float>(strength * (of_b.eta[row] - eta));
    const double offset = slide.offset_m(x, eta);
    const bool by_a = of_a.shows[row] || offset > kBesidePupil * half;
    const bool by_b = of_b.shows[row] || offset < -kBesidePupil * half;
    warp.seen_by.row<std::uint8_t>(y)[i] =
        static_cast<std::uint8_t>((by_a ? kSeenByA : 0) | (by_b ? kSeenByB : 0));
  }
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
  ViewDepth view =
      depth_along(slide, {depth.of_a, half}, {depth.of_b, -half}, grid, depth.gap_inverse_m);
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
  const std::vector<Colatitude> rows = row_colatitudes(grid);
  parallel_for(0, grid.width_px, [&](int x) { read_column(warp, slide, rows, x); });
  return warp;
}

void calm_warp(ViewWarp& warp, const ViewpointSlide& slide, const Image& gaps) {
  const RibbonGrid& grid = warp.grid;
  const std::vector<Colatitude> colatitudes = row_colatitudes(grid);
  parallel_for(0, grid.height_px, [&](int y) { fill_row(warp, gaps, y); });
  parallel_for(0, grid.width_px, [&](int x) {
    const auto i = static_cast<std::size_t>(x);
    std::vector<int> rows;
    for (int y = 0; y < grid.height_px; ++y) {
      if (gaps.row<std::uint8_t>(y)[i] != 0) rows.push_back(y);
    }
    if (rows.empty()) return;
    even_out(warp, x, rows);
    read_column(warp, slide, colatitudes, x);
    // Each lens shows what it shows; nothing is known to stand before it.
    for (const int y : rows) {
      warp.confidence.row<float>(y)[i] = 0;
      warp.seen_by.row<std::uint8_t>(y)[i] = kSeenByA | kSeenByB;
    }
  });
}

}  // namespace seamwright
