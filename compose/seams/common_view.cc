#include "compose/seams/common_view.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <span>
#include <vector>

#include "base/parallel.h"
#include "compose/seams/baseline_view.h"

namespace seamwright {

namespace {

constexpr std::uint8_t kLensA = 1;
constexpr std::uint8_t kLensB = 2;

// What one lens shows at a pixel of the new view.
struct Landed {
  float inverse = 0;
  float confidence = 0;
  Visibility visibility = Visibility::none;
};

constexpr int kBlockColumns = 32;  // columns moved side by side

// Some columns of the new view as one lens has them, row by row.
using Block = std::vector<std::array<Landed, kBlockColumns>>;

int above(float value) {  // its ceiling; the library's is a call
  const auto whole = static_cast<int>(value);
  return whole + (static_cast<float>(whole) < value ? 1 : 0);
}

int below(float value) {
  const auto whole = static_cast<int>(value);
  return whole - (static_cast<float>(whole) > value ? 1 : 0);
}

// `Turns` tells by how much the colatitude under which the new view shows a row of points, from
// column x on, differs from the one they are seen under from an offset: (x, from_m, Colatitude,
// inverse_m, turn_rad).
template <class Turns>
class BlockMover {
 public:
  BlockMover(const LensDepth& from, const Turns& turns, const RibbonGrid& grid,
             const std::vector<Colatitude>& rows, double gap_inverse)
      : from_(from),
        turns_(turns),
        grid_(grid),
        rows_(rows),
        gap_(static_cast<float>(gap_inverse)) {}

  // Columns [begin, begin + count).
  [[nodiscard]] Block moved(int begin, int count) const {
    Block block(static_cast<std::size_t>(grid_.height_px));
    std::array<Point, kBlockColumns> before;
    std::array<float, kBlockColumns> turn;
    const auto first = static_cast<std::size_t>(begin);
    const auto columns = static_cast<std::size_t>(count);
    const auto px_per_rad = static_cast<float>(grid_.px_per_rad);
    for (int y = 0; y < grid_.height_px; ++y) {
      const auto inverse = from_.inverse_m.row<float>(y).subspan(first, columns);
      const auto confidence = from_.confidence.row<float>(y).subspan(first, columns);
      const auto visibility = from_.visibility.row<std::uint8_t>(y).subspan(first, columns);
      turns_(begin, from_.offset_m, rows_[static_cast<std::size_t>(y)], inverse, turn.data());
      const float row = static_cast<float>(y) + 0.5F;
      for (std::size_t i = 0; i < columns; ++i) {
        const Point here{row + turn[i] * px_per_rad,
                         {inverse[i], confidence[i], static_cast<Visibility>(visibility[i])}};
        if (here.is.visibility != Visibility::none) draw_after(before[i], here, i, block);
        before[i] = here;
      }
    }
    return block;
  }

 private:
  struct Point {
    float row = 0;  // continuous, in the new view
    Landed is;
  };

  void draw_after(const Point& before, const Point& here, std::size_t i, Block& block) const {
    const bool joined = before.is.visibility != Visibility::none &&
                        std::abs(before.is.inverse - here.is.inverse) <= gap_;
    if (joined) return draw(before, here, i, block);
    draw(Point{here.row - 0.5F, here.is}, here, i, block);
    draw(here, Point{here.row + 0.5F, here.is}, i, block);
  }

  // All pixel centres between two points.
  void draw(const Point& from, const Point& to, std::size_t i, Block& block) const {
    const int first = std::max(0, above(from.row - 0.5F));
    const int last = std::min(grid_.height_px - 1, below(to.row - 0.5F));
    for (int y = first; y <= last; ++y) {
      const float span = to.row - from.row;
      const float t = span > 0 ? (static_cast<float>(y) + 0.5F - from.row) / span : 0.5F;
      Landed& there = block[static_cast<std::size_t>(y)][i];
      const float inverse = from.is.inverse + t * (to.is.inverse - from.is.inverse);
      if (there.visibility != Visibility::none && there.inverse >= inverse) continue;
      there = {inverse, from.is.confidence + t * (to.is.confidence - from.is.confidence),
               t < 0.5F ? from.is.visibility : to.is.visibility};
    }
  }

  const LensDepth& from_;
  const Turns& turns_;
  const RibbonGrid& grid_;
  const std::vector<Colatitude>& rows_;
  float gap_;
};

// One pixel of the new view from what the lenses show there.
struct Pixel {
  float inverse = 0;
  float confidence = 0;
  std::uint8_t seen_by = 0;
};

// A confirmed depth outweighs a filled one; two of the same kind are averaged where they are one
// surface, else the nearer hides the other.
Pixel joined(const Landed& a, const Landed& b, float gap) {
  const auto seen = [](const Landed& is, std::uint8_t lens) -> std::uint8_t {
    const bool alone = is.visibility == Visibility::hidden || is.visibility == Visibility::outside;
    return alone ? lens : kLensA | kLensB;
  };
  const Pixel only_a{a.inverse, a.confidence, seen(a, kLensA)};
  const Pixel only_b{b.inverse, b.confidence, seen(b, kLensB)};
  if (a.visibility == Visibility::none && b.visibility == Visibility::none) return {};
  if (b.visibility == Visibility::none) return only_a;
  if (a.visibility == Visibility::none) return only_b;
  const bool sure_a = a.visibility == Visibility::both;
  const bool sure_b = b.visibility == Visibility::both;
  if (sure_a != sure_b) return sure_a ? only_a : only_b;
  if (std::abs(a.inverse - b.inverse) > gap) return a.inverse > b.inverse ? only_a : only_b;
  const float weight_a = a.confidence + 1e-3F;
  const float weight_b = b.confidence + 1e-3F;
  return {(weight_a * a.inverse + weight_b * b.inverse) / (weight_a + weight_b),
          std::max(a.confidence, b.confidence), kLensA | kLensB};
}

// Holes get the farther of their two borders.
void fill_column(ViewpointDepth& view, int x) {
  const auto i = static_cast<std::size_t>(x);
  const int height = view.seen_by.height();
  const auto seen = [&](int y) { return view.seen_by.row<std::uint8_t>(y)[i] != 0; };
  const auto inverse = [&](int y) -> float& { return view.inverse_m.row<float>(y)[i]; };
  for (int y = 0; y < height;) {
    if (seen(y)) {
      ++y;
      continue;
    }
    int end = y;
    while (end < height && !seen(end)) ++end;
    float fill = 0;
    if (y > 0 && end < height) {
      fill = std::min(inverse(y - 1), inverse(end));
    } else if (y > 0) {
      fill = inverse(y - 1);
    } else if (end < height) {
      fill = inverse(end);
    }
    for (; y < end; ++y) inverse(y) = fill;
  }
}

// Columns from `begin` on, of what both lenses show there.
void put_joined(const Block& of_a, const Block& of_b, int begin, int count, float gap,
                ViewpointDepth& view) {
  std::array<bool, kBlockColumns> holes{};
  for (int y = 0; y < view.seen_by.height(); ++y) {
    const auto inverse = view.inverse_m.row<float>(y);
    const auto confidence = view.confidence.row<float>(y);
    const auto seen_by = view.seen_by.row<std::uint8_t>(y);
    for (int i = 0; i < count; ++i) {
      const auto k = static_cast<std::size_t>(i);
      const auto at = static_cast<std::size_t>(begin + i);
      const auto row = static_cast<std::size_t>(y);
      const Pixel pixel = joined(of_a[row][k], of_b[row][k], gap);
      inverse[at] = pixel.inverse;
      confidence[at] = pixel.confidence;
      seen_by[at] = pixel.seen_by;
      if (pixel.seen_by == 0) holes[k] = true;
    }
  }
  for (int i = 0; i < count; ++i) {
    if (holes[static_cast<std::size_t>(i)]) fill_column(view, begin + i);
  }
}

template <class Turns>
ViewpointDepth moved_depth(const Turns& turns, const LensDepth& a, const LensDepth& b,
                           const RibbonGrid& grid, double gap_inverse_m) {
  ViewpointDepth view{
      .inverse_m = Image(grid.width_px, grid.height_px, Channels::grey, SampleType::f32),
      .confidence = Image(grid.width_px, grid.height_px, Channels::grey, SampleType::f32),
      .seen_by = Image(grid.width_px, grid.height_px, Channels::grey, SampleType::u8)};
  const std::vector<Colatitude> rows = row_colatitudes(grid);
  const BlockMover from_a(a, turns, grid, rows, gap_inverse_m);
  const BlockMover from_b(b, turns, grid, rows, gap_inverse_m);
  parallel_for(0, (grid.width_px + kBlockColumns - 1) / kBlockColumns, [&](int block) {
    const int begin = block * kBlockColumns;
    const int count = std::min(kBlockColumns, grid.width_px - begin);
    put_joined(from_a.moved(begin, count), from_b.moved(begin, count), begin, count,
               static_cast<float>(gap_inverse_m), view);
  });
  return view;
}

}  // namespace

ViewpointDepth depth_from(double offset_m, const LensDepth& a, const LensDepth& b,
                          const RibbonGrid& grid, double gap_inverse_m) {
  const auto turns = [offset_m](int, double from_m, const Colatitude& seen_under,
                                std::span<const float> inverse_m, float* turn_rad) {
    turns_seen_from(seen_under, from_m, offset_m, inverse_m, turn_rad);
  };
  return moved_depth(turns, a, b, grid, gap_inverse_m);
}

ViewpointDepth depth_along(const ViewpointSlide& slide, const LensDepth& a, const LensDepth& b,
                           const RibbonGrid& grid, double gap_inverse_m) {
  const auto turns = [&slide](int x, double from_m, const Colatitude& seen_under,
                              std::span<const float> inverse_m, float* turn_rad) {
    slide.shown_turns(x, from_m, seen_under, inverse_m, turn_rad);
  };
  return moved_depth(turns, a, b, grid, gap_inverse_m);
}

}  // namespace seamwright
