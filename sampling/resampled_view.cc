#include "sampling/resampled_view.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <vector>

#include "base/parallel.h"

namespace seamwright {

namespace {

constexpr int kCell = 8;               // px between exact source positions
constexpr double kFieldMargin_px = 3;  // kept free of the blur at the image circle's rim

// Frame position of every node of a lattice kCell pixels apart, node (0,0) at the outer
// corner of the picture.
struct Lattice {
  struct Node {
    Vec2 px = Vec2::Zero();
    bool seen = false;
  };
  int columns = 0;
  int rows = 0;
  std::vector<Node> nodes;

  [[nodiscard]] const Node& at(int column, int row) const {
    return nodes[static_cast<std::size_t>(row) * static_cast<std::size_t>(columns) +
                 static_cast<std::size_t>(column)];
  }
};

Lattice lattice_of(const DirectionAt& direction_at, int width_px, int height_px,
                   const MountedLens& lens) {
  Lattice lattice;
  lattice.columns = (width_px + kCell - 1) / kCell + 1;
  lattice.rows = (height_px + kCell - 1) / kCell + 1;
  lattice.nodes.resize(static_cast<std::size_t>(lattice.columns) *
                       static_cast<std::size_t>(lattice.rows));
  parallel_for(0, lattice.rows, [&](int row) {
    for (int column = 0; column < lattice.columns; ++column) {
      const auto px = lens.project_direction(direction_at(
          Vec2(static_cast<double>(column) * kCell, static_cast<double>(row) * kCell)));
      auto& node =
          lattice.nodes[static_cast<std::size_t>(row) * static_cast<std::size_t>(lattice.columns) +
                        static_cast<std::size_t>(column)];
      if (px) node = {*px, true};
    }
  });
  return lattice;
}

// How one lattice cell maps pixels to frame pixels.
class CellMap {
 public:
  CellMap(const Lattice& lattice, int column, int row)
      : corner_(lattice.at(column, row).px),
        right_((lattice.at(column + 1, row).px - corner_) / kCell),
        down_((lattice.at(column, row + 1).px - corner_) / kCell),
        twist_((lattice.at(column + 1, row + 1).px - corner_) / (kCell * kCell) -
               (right_ + down_) / kCell),
        whole_(lattice.at(column, row).seen && lattice.at(column + 1, row).seen &&
               lattice.at(column, row + 1).seen && lattice.at(column + 1, row + 1).seen),
        unseen_(!lattice.at(column, row).seen && !lattice.at(column + 1, row).seen &&
                !lattice.at(column, row + 1).seen && !lattice.at(column + 1, row + 1).seen) {}

  /// True where all four corners lie in the field of view.
  [[nodiscard]] bool whole() const { return whole_; }
  /// True where none does.
  [[nodiscard]] bool unseen() const { return unseen_; }
  /// `x`, `y`: pixels from the cell's corner.
  [[nodiscard]] Vec2 frame_px(double x, double y) const {
    return corner_ + x * right_ + y * down_ + x * y * twist_;
  }
  /// Frame pixels that one pixel spans along x and y, rounded up.
  [[nodiscard]] std::array<int, 2> footprint() const {
    return {count(right_.norm()), count(down_.norm())};
  }

 private:
  static int count(double span) {
    return std::clamp(static_cast<int>(std::ceil(span - 0.15)), 1, 8);
  }

  Vec2 corner_, right_, down_, twist_;
  bool whole_;
  bool unseen_;
};

bool visible(const LensView& view, const Vec2& px, double margin_px) {
  return view.plane().contains(px) && view.field.contains(px, margin_px);
}

// True where every pixel of a cell is well inside the picture: then none needs to be asked.
bool all_visible(const LensView& view, const CellMap& map) {
  const double margin = kFieldMargin_px + (map.frame_px(0, 0) - map.frame_px(kCell, kCell)).norm();
  return visible(view, map.frame_px(0, 0), margin) &&
         visible(view, map.frame_px(kCell, 0), margin) &&
         visible(view, map.frame_px(0, kCell), margin) &&
         visible(view, map.frame_px(kCell, kCell), margin);
}

void render_cell(const LensView& view, const CellMap& map, int x0, int y0, ResampledView& to) {
  const bool sure = all_visible(view, map);
  const auto [nx, ny] = map.footprint();
  const int x1 = std::min(x0 + kCell, to.raw.width());
  const int y1 = std::min(y0 + kCell, to.raw.height());
  for (int y = y0; y < y1; ++y) {
    const auto raw = to.raw.row<float>(y);
    const auto valid = to.valid.row<std::uint8_t>(y);
    for (int x = x0; x < x1; ++x) {
      const Vec2 centre = map.frame_px(x - x0 + 0.5, y - y0 + 0.5);
      if (!sure && !visible(view, centre, kFieldMargin_px)) continue;
      float sum = 0;
      for (int j = 0; j < ny; ++j) {
        for (int i = 0; i < nx; ++i) {
          const Vec2 px = map.frame_px(x - x0 + (i + 0.5) / nx, y - y0 + (j + 0.5) / ny);
          sum += view.plane().value(px.x(), px.y());
        }
      }
      raw[static_cast<std::size_t>(x)] = sum / static_cast<float>(nx * ny);
      valid[static_cast<std::size_t>(x)] = 255;
    }
  }
}

// A cell that the field's border crosses: every pixel on its own.
void render_border_cell(const LensView& view, const DirectionAt& direction_at, int x0, int y0,
                        ResampledView& to) {
  const int x1 = std::min(x0 + kCell, to.raw.width());
  const int y1 = std::min(y0 + kCell, to.raw.height());
  for (int y = y0; y < y1; ++y) {
    for (int x = x0; x < x1; ++x) {
      const auto px = view.mounted.project_direction(direction_at(Vec2(x + 0.5, y + 0.5)));
      if (!px || !visible(view, *px, kFieldMargin_px)) continue;
      to.raw.row<float>(y)[static_cast<std::size_t>(x)] = view.plane().value(px->x(), px->y());
      to.valid.row<std::uint8_t>(y)[static_cast<std::size_t>(x)] = 255;
    }
  }
}

// Sums over a window that slides along, nothing beyond the ends.
class WindowSums {
 public:
  WindowSums(const ResampledView& view, int window_px)
      : view_(view),
        reach_(window_px / 2),
        width_(static_cast<std::size_t>(view.raw.width())),
        weight_(width_, 0.0),
        value_(width_, 0.0),
        square_(width_, 0.0) {}

  // Takes the rows of the window around row y in.
  void begin(int y) {
    for (int row = y - reach_; row <= y + reach_; ++row) add(row, 1);
  }
  // From the window around a row to that around the next.
  void advance(int y) {
    add(y - reach_, -1);
    add(y + reach_ + 1, 1);
  }

  struct Sums {
    double weight = 0;
    double value = 0;
    double square = 0;
  };
  // Of the whole window around each column of the row.
  template <class Use>
  void across(const Use& use) const {
    Sums sum;
    const auto take = [&](std::size_t x, double sign) {
      sum.weight += sign * weight_[x];
      sum.value += sign * value_[x];
      sum.square += sign * square_[x];
    };
    const auto reach = static_cast<std::size_t>(reach_);
    for (std::size_t x = 0; x < std::min(reach, width_); ++x) take(x, 1);
    for (std::size_t x = 0; x < width_; ++x) {
      if (x + reach < width_) take(x + reach, 1);
      if (x > reach) take(x - reach - 1, -1);
      use(x, sum);
    }
  }

 private:
  void add(int y, double sign) {
    if (y < 0 || y >= view_.raw.height()) return;
    const float* raw = view_.raw.row<float>(y).data();
    const std::uint8_t* valid = view_.valid.row<std::uint8_t>(y).data();
    for (std::size_t x = 0; x < width_; ++x) weight_[x] += valid[x] != 0 ? sign : 0.0;
    for (std::size_t x = 0; x < width_; ++x) {
      value_[x] += sign * static_cast<double>(raw[x]);  // raw is 0 where not valid
      square_[x] += sign * static_cast<double>(raw[x] * raw[x]);
    }
  }

  const ResampledView& view_;
  int reach_;
  std::size_t width_;
  std::vector<double> weight_;
  std::vector<double> value_;
  std::vector<double> square_;
};

}  // namespace

ResampledView resample(const LensView& view, const DirectionAt& direction_at, int width_px,
                       int height_px, const NormaliseOptions& options) {
  ResampledView to{.raw = Image(width_px, height_px, Channels::grey, SampleType::f32),
                   .normalised = Image(width_px, height_px, Channels::grey, SampleType::f32),
                   .valid = Image(width_px, height_px, Channels::grey, SampleType::u8)};
  const Lattice lattice = lattice_of(direction_at, width_px, height_px, view.mounted);
  parallel_for(0, lattice.rows - 1, [&](int row) {
    for (int column = 0; column + 1 < lattice.columns; ++column) {
      const CellMap map(lattice, column, row);
      if (map.whole()) {
        render_cell(view, map, column * kCell, row * kCell, to);
      } else if (!map.unseen()) {
        render_border_cell(view, direction_at, column * kCell, row * kCell, to);
      }
    }
  });
  normalise(to, options);
  return to;
}

void normalise(ResampledView& view, const NormaliseOptions& options) {
  constexpr int kBand = 32;  // rows for which a window slides from one to the next
  const float floor2 = options.noise_floor * options.noise_floor;
  const double share = 1.0 / (options.window_px * options.window_px);
  const int height = view.raw.height();
  parallel_for(0, (height + kBand - 1) / kBand, [&](int band) {
    WindowSums sums(view, options.window_px);
    const int end = std::min(height, (band + 1) * kBand);
    sums.begin(band * kBand);
    for (int y = band * kBand; y < end; ++y) {
      const float* value = view.raw.row<float>(y).data();
      const std::uint8_t* seen = view.valid.row<std::uint8_t>(y).data();
      float* to = view.normalised.row<float>(y).data();
      sums.across([&](std::size_t x, const WindowSums::Sums& sum) {
        if (seen[x] == 0) {
          to[x] = 0;
          return;
        }
        const auto weight = static_cast<float>(sum.weight * share);
        const float mean = static_cast<float>(sum.value * share) / weight;
        const float square = static_cast<float>(sum.square * share) / weight;
        to[x] = (value[x] - mean) / std::sqrt(std::max(square - mean * mean, 0.0F) + floor2);
      });
      sums.advance(y);
    }
  });
}

}  // namespace seamwright
