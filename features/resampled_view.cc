#include "features/resampled_view.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <vector>

#include <opencv2/imgproc.hpp>

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

cv::Mat as_mat(Image& image, int type) {
  return {image.height(), image.width(), type, image.bytes().data(), image.row_bytes()};
}

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
  const cv::Mat raw = as_mat(view.raw, CV_32F);
  const cv::Mat valid = as_mat(view.valid, CV_8U);
  cv::Mat mask;
  valid.convertTo(mask, CV_32F, 1.0 / 255.0);
  const auto smooth = [&](const cv::Mat& from) {
    cv::Mat to;
    const int side = options.window_px;
    cv::boxFilter(from, to, CV_32F, cv::Size(side, side), cv::Point(-1, -1), true,
                  cv::BORDER_CONSTANT);
    return to;
  };
  const cv::Mat weight = smooth(mask);
  const cv::Mat mean = smooth(raw);  // raw is 0 where not valid
  const cv::Mat square = smooth(raw.mul(raw));
  const float floor2 = options.noise_floor * options.noise_floor;
  parallel_for(0, view.raw.height(), [&](int y) {
    const auto value = view.raw.row<float>(y);
    const auto seen = view.valid.row<std::uint8_t>(y);
    const auto to = view.normalised.row<float>(y);
    for (int x = 0; x < view.raw.width(); ++x) {
      const auto i = static_cast<std::size_t>(x);
      if (seen[i] == 0) {
        to[i] = 0;
        continue;
      }
      const float w = weight.at<float>(y, x);
      const float m = mean.at<float>(y, x) / w;
      const float variance = std::max(square.at<float>(y, x) / w - m * m, 0.0F);
      to[i] = (value[i] - m) / std::sqrt(variance + floor2);
    }
  });
}

}  // namespace seamwright
