#include "compose/seams/gain_field.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numeric>

#include <Eigen/Core>

#include "base/parallel.h"
#include "compose/seams/binary_log.h"
#include "compose/seams/blend_kernels.h"
#include "compose/seams/ring_blur.h"
#include "projection/dense_algebra.h"

namespace seamwright {

namespace {

constexpr int kBlock_px = 4;          // ratios are of means over blocks: noise and shifts fade
constexpr double kDarkLight = 0.004;  // of the darkest block; noise rules below
constexpr double kStiffness = 2e-4;   // pull of the coefficients to 0, of the number of blocks
constexpr int kRounds = 8;
constexpr Eigen::Index kTilt = 1;  // term of the basis that tilts along η

// Values of the basis at a place: constant and harmonics around the ring, then what tilts along η.
class Basis {
 public:
  Basis(bool closed, int width_px, int height_px, int harmonics)
      : closed_(closed), width_px_(width_px), height_px_(height_px), harmonics_(harmonics) {}

  [[nodiscard]] int size() const { return 2 + around(); }

  void at(double x_px, double row_px, double* value) const {
    const double turn = (closed_ ? 2 : 1) * kPi * x_px / width_px_;
    const double across = 2 * row_px / height_px_ - 1;
    int i = 0;
    value[i++] = 1;
    value[i++] = across;
    for (int k = 1; k <= harmonics_; ++k) {
      value[i++] = std::cos(k * turn);
      if (closed_) value[i++] = std::sin(k * turn);
    }
  }

  // How fast a term bends around the ring.
  [[nodiscard]] double order(int i) const {
    if (i == 0) return 0;
    if (i == 1) return 1;
    return closed_ ? (i - 2) / 2 + 1 : i - 1;  // NOLINT(bugprone-integer-division)
  }

 private:
  [[nodiscard]] int around() const { return (closed_ ? 2 : 1) * harmonics_; }

  bool closed_;
  int width_px_;
  int height_px_;
  int harmonics_;
};

// Ratios of the light of blocks, a raster a channel; where no block tells anything `known` is 0.
struct Blocks {
  int columns = 0;
  int rows = 0;
  int count = 0;  // known
  FloatPlane known;
  std::array<FloatPlane, 3> ratio_ev;
};

// Means of one block in both views; leaves it unknown where a pixel of it tells nothing.
void compare_block(const SeamViews& views, const Image& subjects, int column, int row,
                   Blocks& blocks) {
  const int channels = views.light_a.channel_count();
  std::array<float, 3> sum_a{};
  std::array<float, 3> sum_b{};
  for (int y = row * kBlock_px; y < (row + 1) * kBlock_px; ++y) {
    const float* a = views.light_a.row<float>(y).data();
    const float* b = views.light_b.row<float>(y).data();
    for (int x = column * kBlock_px; x < (column + 1) * kBlock_px; ++x) {
      if (state_at(views.state_a, x, y) != ViewState::good ||
          state_at(views.state_b, x, y) != ViewState::good) {
        return;
      }
      if (!subjects.empty() && subjects.row<std::uint8_t>(y)[static_cast<std::size_t>(x)] != 0) {
        return;
      }
      for (int c = 0; c < channels; ++c) {
        sum_a[static_cast<std::size_t>(c)] += a[channels * x + c];
        sum_b[static_cast<std::size_t>(c)] += b[channels * x + c];
      }
    }
  }
  constexpr auto kLeast = static_cast<float>(kDarkLight * kBlock_px * kBlock_px);
  const auto used = static_cast<std::size_t>(channels);
  for (std::size_t c = 0; c < used; ++c) {
    if (sum_a[c] < kLeast || sum_b[c] < kLeast) return;
  }
  for (std::size_t c = 0; c < 3; ++c) {
    const std::size_t from = std::min(c, used - 1);
    blocks.ratio_ev[c].line(row)[column] = log2_of(sum_a[from] / sum_b[from]);
  }
  blocks.known.line(row)[column] = 1;
}

Blocks comparable_blocks(const SeamViews& views, const Image& subjects) {
  const int columns = views.light_a.width() / kBlock_px;
  const int rows = views.light_a.height() / kBlock_px;
  const FloatPlane none(columns, rows);
  Blocks blocks{.columns = columns, .rows = rows, .known = none, .ratio_ev = {none, none, none}};
  parallel_for(0, rows, [&](int row) {
    for (int column = 0; column < columns; ++column) {
      compare_block(views, subjects, column, row, blocks);
    }
  });
  for (const float known : blocks.known.values) blocks.count += known > 0 ? 1 : 0;
  return blocks;
}

float median_ratio(const Blocks& blocks, std::size_t channel) {
  std::vector<float> ratios;
  ratios.reserve(static_cast<std::size_t>(blocks.count));
  for (std::size_t i = 0; i < blocks.known.values.size(); ++i) {
    if (blocks.known.values[i] > 0) ratios.push_back(blocks.ratio_ev[channel].values[i]);
  }
  const auto middle = ratios.begin() + static_cast<std::ptrdiff_t>(ratios.size() / 2);
  std::nth_element(ratios.begin(), middle, ratios.end());
  return *middle;
}

struct ChannelFit {
  std::vector<double> terms;
  int agreeing = 0;
};

// The basis in the middle of each column of blocks, where what tilts counts nothing.
Eigen::MatrixXd values_around(const Basis& basis, int columns, int height_px) {
  Eigen::MatrixXd values(basis.size(), columns);
  for (int column = 0; column < columns; ++column) {
    basis.at((column + 0.5) * kBlock_px, 0.5 * height_px, values.col(column).data());
  }
  return values;
}

// The normal equations of a round, and how many blocks agree with the terms it began with.
struct Normal {
  Eigen::MatrixXd matrix;  // its lower half
  Eigen::VectorXd right;
  int agreeing = 0;
};

// What tilts changes down a column only, all else around the ring only: a few sums tell all of a
// column's blocks.
class ColumnSums {
 public:
  explicit ColumnSums(int columns) {
    for (auto& sum : value_) sum.assign(static_cast<std::size_t>(columns), 0.0F);
    for (std::size_t i = 0; i < value_.size(); ++i) sums_.of[i] = value_[i].data();
  }

  void add(const Blocks& blocks, std::size_t channel, const Eigen::MatrixXd& values,
           const Eigen::VectorXd& terms, int height_px, double agree_ev) {
    const Eigen::VectorXf around = (values.transpose() * terms).cast<float>();
    Eigen::VectorXf fit_ev(around.size());
    for (int row = 0; row < blocks.rows; ++row) {
      const double tilt = 2 * (row + 0.5) * kBlock_px / height_px - 1;
      fit_ev = around.array() + static_cast<float>(terms[kTilt] * tilt);
      add_agreeing({.known = blocks.known.line(row),
                    .ratio_ev = blocks.ratio_ev[channel].line(row),
                    .fit_ev = fit_ev.data(),
                    .tilt = static_cast<float>(tilt),
                    .per_agree_ev = static_cast<float>(1 / agree_ev)},
                   static_cast<std::size_t>(blocks.columns), sums_);
    }
  }

  [[nodiscard]] Normal normal(const Eigen::MatrixXd& values) const {
    const Eigen::Index size = values.rows();
    Normal normal{Eigen::MatrixXd::Zero(size, size), Eigen::VectorXd::Zero(size)};
    double agreeing = 0;
    for (Eigen::Index x = 0; x < values.cols(); ++x) {
      const double* value = values.col(x).data();
      const double tilted = at(AgreeSums::tilt, x);
      for (Eigen::Index i = 0; i < size; ++i) {
        const double weighted = at(AgreeSums::one, x) * value[i];
        for (Eigen::Index k = 0; k <= i; ++k) normal.matrix(i, k) += weighted * value[k];
        normal.matrix(std::max(i, kTilt), std::min(i, kTilt)) += tilted * value[i];
        normal.right[i] += at(AgreeSums::ratio, x) * value[i];
      }
      normal.matrix(kTilt, kTilt) += at(AgreeSums::tilt_square, x);
      normal.right[kTilt] += at(AgreeSums::ratio_tilt, x);
      agreeing += at(AgreeSums::agreeing, x);
    }
    normal.agreeing = static_cast<int>(agreeing);
    return normal;
  }

 private:
  [[nodiscard]] double at(std::size_t which, Eigen::Index x) const {
    return static_cast<double>(value_[which][static_cast<std::size_t>(x)]);
  }

  std::array<std::vector<float>, AgreeSums::count> value_;
  AgreeSums sums_;
};

// Iterated weighted least squares with Tukey's weights, from the median on.
ChannelFit fit_channel(const Basis& basis, const Eigen::MatrixXd& values, const Blocks& blocks,
                       std::size_t channel, int height_px, double agree_ev) {
  const Eigen::Index size = basis.size();
  Eigen::VectorXd terms = Eigen::VectorXd::Zero(size);
  terms[0] = static_cast<double>(median_ratio(blocks, channel));
  ChannelFit fit;
  for (int round = 0; round < kRounds; ++round) {
    ColumnSums sums(blocks.columns);
    sums.add(blocks, channel, values, terms, height_px, agree_ev);
    Normal normal = sums.normal(values);
    fit.agreeing = normal.agreeing;
    if (fit.agreeing == 0) break;
    for (Eigen::Index i = 1; i < size; ++i) {
      const double order = basis.order(static_cast<int>(i));
      normal.matrix(i, i) += kStiffness * blocks.count * (1 + order * order);
    }
    terms = solve_symmetric(normal.matrix, normal.right);
  }
  fit.terms.assign(terms.data(), terms.data() + size);
  return fit;
}

}  // namespace

GainField::GainField(bool closed, int width_px, int height_px, int harmonics, double most_ev,
                     std::array<std::vector<double>, 3> terms)
    : closed_(closed),
      width_px_(width_px),
      height_px_(height_px),
      harmonics_(harmonics),
      most_ev_(most_ev),
      terms_(std::move(terms)) {}

double GainField::ratio_ev(double x_px, double row_px, int channel) const {
  if (empty()) return 0;
  const Basis basis(closed_, width_px_, height_px_, harmonics_);
  std::array<double, 2 + 2 * kMostHarmonics> value{};
  basis.at(x_px, row_px, value.data());
  const std::vector<double>& terms = terms_[static_cast<std::size_t>(channel)];
  double sum = 0;
  for (std::size_t i = 0; i < terms.size(); ++i) sum += terms[i] * value[i];
  return std::clamp(sum, -most_ev_, most_ev_);
}

GainRaster::GainRaster(const GainField& field)
    : across_scale_(2.0F / static_cast<float>(field.height_px_)),
      most_ev_(static_cast<float>(field.most_ev_)) {
  if (field.empty()) return;
  const Basis basis(field.closed_, field.width_px_, field.height_px_, field.harmonics_);
  std::array<double, 2 + 2 * kMostHarmonics> value{};
  for (int x = 0; x < field.width_px_; ++x) {
    basis.at(x + 0.5, 0.5 * field.height_px_, value.data());  // where the tilt counts nothing
    for (std::size_t c = 0; c < 3; ++c) {
      const std::vector<double>& terms = field.terms_[c];
      around_[c].push_back(
          static_cast<float>(std::inner_product(terms.begin(), terms.end(), value.begin(), 0.0)));
    }
  }
  for (std::size_t c = 0; c < 3; ++c) tilt_[c] = static_cast<float>(field.terms_[c][1]);
}

GainField fit_gain_field(const SeamViews& views, const Image& subject_map,
                         const GainFieldOptions& options) {
  const int width = views.light_a.width();
  const int height = views.light_a.height();
  const int harmonics = std::clamp(options.harmonics, 0, kMostHarmonics);
  const Blocks blocks = comparable_blocks(views, subject_map);
  if (blocks.count == 0) return {};
  const Basis basis(views.closed, width, height, harmonics);
  const Eigen::MatrixXd values = values_around(basis, blocks.columns, height);
  std::array<ChannelFit, 3> fits;
  parallel_for(0, 3, [&](int channel) {
    const auto c = static_cast<std::size_t>(channel);
    fits[c] = fit_channel(basis, values, blocks, c, height, options.agree_ev);
  });
  std::array<std::vector<double>, 3> terms;
  for (std::size_t c = 0; c < 3; ++c) {
    if (fits[c].agreeing * kBlock_px * kBlock_px < options.least_px) return {};
    terms[c] = std::move(fits[c].terms);
  }
  return {views.closed, width, height, harmonics, options.most_ev, std::move(terms)};
}

}  // namespace seamwright
