#include "seams/common_view.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <vector>

#include "base/parallel.h"
#include "seams/baseline_view.h"

namespace seamwright {

namespace {

constexpr std::uint8_t kLensA = 1;
constexpr std::uint8_t kLensB = 2;

// What one lens shows at a pixel of the new view.
struct Landed {
  float inverse = 0;
  float confidence = 0;
  Sight sight = Sight::none;
};

// One column of the new view as one lens has it.
using Column = std::vector<Landed>;

// `Shown` tells under which colatitude the new view shows, in column x, what is seen from an offset
// under a colatitude at an inverse distance: (x, from_m, Colatitude, inverse_m) → rad.
template <class Shown>
class ColumnMover {
 public:
  ColumnMover(const SeenDepth& from, const Shown& shown, const RibbonGrid& grid,
              const std::vector<Colatitude>& rows, double gap_inverse)
      : from_(from),
        shown_(shown),
        grid_(grid),
        rows_(rows),
        gap_(static_cast<float>(gap_inverse)) {}

  [[nodiscard]] Column moved(int x) const {
    Column column(static_cast<std::size_t>(grid_.height_px));
    std::optional<Point> before;
    for (int y = 0; y < grid_.height_px; ++y) {
      const std::optional<Point> here = point_at(x, y);
      if (here) {
        const bool joined = before && std::abs(before->is.inverse - here->is.inverse) <= gap_;
        draw(joined ? *before : Point{here->row - 0.5, here->is}, *here, column);
        if (!joined) draw(*here, Point{here->row + 0.5, here->is}, column);
      }
      before = here;
    }
    return column;
  }

 private:
  struct Point {
    double row = 0;  // continuous, in the new view
    Landed is;
  };

  [[nodiscard]] std::optional<Point> point_at(int x, int y) const {
    const auto i = static_cast<std::size_t>(x);
    const auto sight = static_cast<Sight>(from_.depth.sight.row<std::uint8_t>(y)[i]);
    if (sight == Sight::none) return std::nullopt;
    const float inverse = from_.depth.inverse_m.row<float>(y)[i];
    const double eta =
        shown_(x, from_.offset_m, rows_[static_cast<std::size_t>(y)], static_cast<double>(inverse));
    return Point{row_of_eta(grid_, eta), {inverse, from_.depth.confidence.row<float>(y)[i], sight}};
  }

  // All pixel centres between two points.
  void draw(const Point& from, const Point& to, Column& column) const {
    const int first = std::max(0, static_cast<int>(std::ceil(from.row - 0.5)));
    const int last = std::min(grid_.height_px - 1, static_cast<int>(std::floor(to.row - 0.5)));
    for (int y = first; y <= last; ++y) {
      const double span = to.row - from.row;
      const auto t = static_cast<float>(span > 0 ? (y + 0.5 - from.row) / span : 0.5);
      Landed& there = column[static_cast<std::size_t>(y)];
      const float inverse = from.is.inverse + t * (to.is.inverse - from.is.inverse);
      if (there.sight != Sight::none && there.inverse >= inverse) continue;
      there = {inverse, from.is.confidence + t * (to.is.confidence - from.is.confidence),
               t < 0.5F ? from.is.sight : to.is.sight};
    }
  }

  const SeenDepth& from_;
  const Shown& shown_;
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
    const bool alone = is.sight == Sight::hidden || is.sight == Sight::outside;
    return alone ? lens : kLensA | kLensB;
  };
  const Pixel only_a{a.inverse, a.confidence, seen(a, kLensA)};
  const Pixel only_b{b.inverse, b.confidence, seen(b, kLensB)};
  if (a.sight == Sight::none && b.sight == Sight::none) return {};
  if (b.sight == Sight::none) return only_a;
  if (a.sight == Sight::none) return only_b;
  const bool sure_a = a.sight == Sight::both;
  const bool sure_b = b.sight == Sight::both;
  if (sure_a != sure_b) return sure_a ? only_a : only_b;
  if (std::abs(a.inverse - b.inverse) > gap) return a.inverse > b.inverse ? only_a : only_b;
  const float weight_a = a.confidence + 1e-3F;
  const float weight_b = b.confidence + 1e-3F;
  return {(weight_a * a.inverse + weight_b * b.inverse) / (weight_a + weight_b),
          std::max(a.confidence, b.confidence), kLensA | kLensB};
}

// Holes get the farther of their two borders.
void fill_column(std::vector<Pixel>& column) {
  const std::size_t height = column.size();
  for (std::size_t y = 0; y < height;) {
    if (column[y].seen_by != 0) {
      ++y;
      continue;
    }
    std::size_t end = y;
    while (end < height && column[end].seen_by == 0) ++end;
    float inverse = 0;
    if (y > 0 && end < height) {
      inverse = std::min(column[y - 1].inverse, column[end].inverse);
    } else if (y > 0) {
      inverse = column[y - 1].inverse;
    } else if (end < height) {
      inverse = column[end].inverse;
    }
    for (; y < end; ++y) column[y].inverse = inverse;
  }
}

template <class Shown>
ViewDepth moved_depth(const Shown& shown, const SeenDepth& a, const SeenDepth& b,
                      const RibbonGrid& grid, double gap_inverse_m) {
  ViewDepth view{
      .inverse_m = Image(grid.width_px, grid.height_px, Channels::grey, SampleType::f32),
      .confidence = Image(grid.width_px, grid.height_px, Channels::grey, SampleType::f32),
      .seen_by = Image(grid.width_px, grid.height_px, Channels::grey, SampleType::u8)};
  const std::vector<Colatitude> rows = row_colatitudes(grid);
  const ColumnMover from_a(a, shown, grid, rows, gap_inverse_m);
  const ColumnMover from_b(b, shown, grid, rows, gap_inverse_m);
  parallel_for(0, grid.width_px, [&](int x) {
    const Column of_a = from_a.moved(x);
    const Column of_b = from_b.moved(x);
    std::vector<Pixel> column(of_a.size());
    for (std::size_t y = 0; y < column.size(); ++y) {
      column[y] = joined(of_a[y], of_b[y], static_cast<float>(gap_inverse_m));
    }
    fill_column(column);
    const auto i = static_cast<std::size_t>(x);
    for (int y = 0; y < grid.height_px; ++y) {
      const Pixel& pixel = column[static_cast<std::size_t>(y)];
      view.inverse_m.row<float>(y)[i] = pixel.inverse;
      view.confidence.row<float>(y)[i] = pixel.confidence;
      view.seen_by.row<std::uint8_t>(y)[i] = pixel.seen_by;
    }
  });
  return view;
}

}  // namespace

ViewDepth depth_from(double offset_m, const SeenDepth& a, const SeenDepth& b,
                     const RibbonGrid& grid, double gap_inverse_m) {
  const auto shown = [offset_m](int, double from_m, const Colatitude& eta, double inverse_m) {
    return SightedPoint(from_m, eta, inverse_m).eta_from(offset_m);
  };
  return moved_depth(shown, a, b, grid, gap_inverse_m);
}

ViewDepth depth_along(const ViewpointSlide& slide, const SeenDepth& a, const SeenDepth& b,
                      const RibbonGrid& grid, double gap_inverse_m) {
  const auto shown = [&slide](int x, double from_m, const Colatitude& eta, double inverse_m) {
    return slide.shown_eta(x, from_m, eta, inverse_m);
  };
  return moved_depth(shown, a, b, grid, gap_inverse_m);
}

}  // namespace seamwright
