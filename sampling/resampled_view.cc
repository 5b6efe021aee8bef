#include "sampling/resampled_view.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <vector>

#include "base/parallel.h"

namespace seamwright {

namespace {

constexpr double kFieldMargin_px = 3;  // kept free of the blur at the image circle's rim

bool visible(const LensView& view, const Vec2& px, double margin_px) {
  return view.plane().contains(px) && view.field.contains(px, margin_px);
}

// What a pixel of a cell spans in the frame: to its neighbours at the right and below. Nothing
// where the lens does not see these.
struct PixelSpan {
  Vec2 right = Vec2::Zero();
  Vec2 below = Vec2::Zero();
};

PixelSpan span_of(const SourceRun& run, const Cell& cell, int column, int row) {
  if (cell.width < 2 || cell.height < 2) return {};
  const int x = std::min(column, cell.width - 2);
  const int y = std::min(row, cell.height - 2);
  const PixelSpan span{run.at(Cell::index(x + 1, row)) - run.at(Cell::index(x, row)),
                       run.at(Cell::index(column, y + 1)) - run.at(Cell::index(column, y))};
  return span.right.hasNaN() || span.below.hasNaN() ? PixelSpan() : span;
}

// Samples that a pixel takes along a span.
int samples_along(const Vec2& span) {
  return std::clamp(static_cast<int>(std::ceil(span.norm() - 0.15)), 1, 8);
}

// Resamples one cell.
class CellResampler {
 public:
  CellResampler(const LensView& view, const LensMap& map, const DirectionAt& direction_at,
                const Cell& cell)
      : view_(view), cell_(cell) {
    fill_sources(map, direction_at, cell, centre_);
  }

  void run(ResampledView& to) {
    list_visible();
    if (listed_ == 0) return;
    const PixelSpan middle = span_of(centre_, cell_, cell_.width / 2, cell_.height / 2);
    const int across = samples_along(middle.right);
    const int down = samples_along(middle.below);
    for (int j = 0; j < down; ++j) {
      for (int i = 0; i < across; ++i) add((i + 0.5) / across - 0.5, (j + 0.5) / down - 0.5);
    }
    for (std::size_t k = 0; k < listed_; ++k) {
      const int row = cell_.y + place_[k] / Cell::kSize;
      const auto column = static_cast<std::size_t>(cell_.x + place_[k] % Cell::kSize);
      to.raw.row<float>(row)[column] = sum_[k] / static_cast<float>(samples_[k]);
      to.valid.row<std::uint8_t>(row)[column] = 255;
    }
  }

 private:
  // True where every pixel of the cell is well inside the picture: then none needs to be asked.
  [[nodiscard]] bool all_visible() const {
    const std::array<Vec2, 4> corner = {centre_.at(Cell::index(0, 0)),
                                        centre_.at(Cell::index(cell_.width - 1, 0)),
                                        centre_.at(Cell::index(0, cell_.height - 1)),
                                        centre_.at(Cell::index(cell_.width - 1, cell_.height - 1))};
    const double margin = kFieldMargin_px + (corner[0] - corner[3]).norm();
    return std::ranges::all_of(corner, [&](const Vec2& px) { return visible(view_, px, margin); });
  }

  void list_visible() {
    const bool sure = all_visible();
    for (int row = 0; row < cell_.height; ++row) {
      for (int column = 0; column < cell_.width; ++column) {
        const std::size_t i = Cell::index(column, row);
        if (!sure && !visible(view_, centre_.at(i), kFieldMargin_px)) continue;
        sum_[listed_] = 0;
        samples_[listed_] = 0;
        place_[listed_++] = static_cast<int>(i);
      }
    }
  }

  // A sample of each listed pixel, beside its centre by shares of what it spans.
  void add(double right, double below) {
    const bool beside = right != 0 || below != 0;
    for (std::size_t k = 0; k < listed_; ++k) {
      const int i = place_[k];
      Vec2 px = centre_.at(static_cast<std::size_t>(i));
      if (beside) {
        const PixelSpan span = span_of(centre_, cell_, i % Cell::kSize, i / Cell::kSize);
        px += right * span.right + below * span.below;
      }
      if (!view_.plane().contains(px)) continue;
      sum_[k] += view_.plane().value(px.x(), px.y());
      ++samples_[k];
    }
  }

  const LensView& view_;
  Cell cell_;
  SourceRun centre_;
  std::size_t listed_ = 0;
  std::array<int, Cell::kPixels> place_;  // of a listed pixel, as Cell::index says
  std::array<float, Cell::kPixels> sum_;
  std::array<int, Cell::kPixels> samples_;
};

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
  const LensMap map(view.mounted);
  const CellTiling tiling{width_px, height_px};
  parallel_for(0, tiling.count(),
               [&](int i) { CellResampler(view, map, direction_at, tiling.at(i)).run(to); });
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
