#include "seams/gain_field.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numeric>

#include <Eigen/Cholesky>
#include <Eigen/Core>

namespace seamwright {

namespace {

constexpr int kBlock_px = 4;          // ratios are of means over blocks: noise and shifts fade
constexpr double kDarkLight = 0.004;  // of the darkest block; noise rules below
constexpr double kStiffness = 2e-4;   // pull of the coefficients to 0, of the number of blocks
constexpr int kRounds = 8;

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

struct Block {
  double x_px = 0;
  double row_px = 0;
  std::array<double, 3> ratio_ev{};
};

// Mean light of a block in both views; false where a pixel of it tells nothing.
bool compare_block(const SeamViews& views, const Image& subjects, int left, int top, Block& block) {
  const int channels = views.light_a.channel_count();
  std::array<double, 3> sum_a{};
  std::array<double, 3> sum_b{};
  for (int y = top; y < top + kBlock_px; ++y) {
    const auto a = views.light_a.row<float>(y);
    const auto b = views.light_b.row<float>(y);
    for (int x = left; x < left + kBlock_px; ++x) {
      if (state_at(views.state_a, x, y) != ViewState::good ||
          state_at(views.state_b, x, y) != ViewState::good) {
        return false;
      }
      const auto at = static_cast<std::size_t>(x);
      if (!subjects.empty() && subjects.row<std::uint8_t>(y)[at] != 0) return false;
      for (int c = 0; c < 3; ++c) {
        const auto i = at * static_cast<std::size_t>(channels) +
                       static_cast<std::size_t>(std::min(c, channels - 1));
        sum_a[static_cast<std::size_t>(c)] += a[i];
        sum_b[static_cast<std::size_t>(c)] += b[i];
      }
    }
  }
  constexpr double kLeast = kDarkLight * kBlock_px * kBlock_px;
  for (std::size_t c = 0; c < 3; ++c) {
    if (sum_a[c] < kLeast || sum_b[c] < kLeast) return false;
    block.ratio_ev[c] = std::log2(sum_a[c] / sum_b[c]);
  }
  block.x_px = left + 0.5 * kBlock_px;
  block.row_px = top + 0.5 * kBlock_px;
  return true;
}

std::vector<Block> comparable_blocks(const SeamViews& views, const Image& subjects) {
  std::vector<Block> blocks;
  for (int y = 0; y + kBlock_px <= views.light_a.height(); y += kBlock_px) {
    for (int x = 0; x + kBlock_px <= views.light_a.width(); x += kBlock_px) {
      Block block;
      if (compare_block(views, subjects, x, y, block)) blocks.push_back(block);
    }
  }
  return blocks;
}

double median_ratio(const std::vector<Block>& blocks, std::size_t channel) {
  std::vector<double> ratios;
  for (const Block& block : blocks) ratios.push_back(block.ratio_ev[channel]);
  const auto middle = ratios.begin() + static_cast<std::ptrdiff_t>(ratios.size() / 2);
  std::nth_element(ratios.begin(), middle, ratios.end());
  return *middle;
}

struct ChannelFit {
  std::vector<double> terms;
  int agreeing = 0;
};

// The basis at every block, a column each.
Eigen::MatrixXd values_at(const Basis& basis, const std::vector<Block>& blocks) {
  Eigen::MatrixXd values(basis.size(), static_cast<Eigen::Index>(blocks.size()));
  Eigen::Index column = 0;
  for (const Block& block : blocks) {
    basis.at(block.x_px, block.row_px, values.col(column++).data());
  }
  return values;
}

// Iterated weighted least squares with Tukey's weights, from the median on.
ChannelFit fit_channel(const Basis& basis, const Eigen::MatrixXd& values,
                       const std::vector<Block>& blocks, std::size_t channel, double agree_ev) {
  const Eigen::Index size = basis.size();
  Eigen::VectorXd terms = Eigen::VectorXd::Zero(size);
  terms[0] = median_ratio(blocks, channel);
  ChannelFit fit;
  for (int round = 0; round < kRounds; ++round) {
    Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(size, size);
    Eigen::VectorXd right = Eigen::VectorXd::Zero(size);
    fit.agreeing = 0;
    for (std::size_t i = 0; i < blocks.size(); ++i) {
      const auto value = values.col(static_cast<Eigen::Index>(i));
      const double ratio_ev = blocks[i].ratio_ev[channel];
      const double off = (ratio_ev - value.dot(terms)) / agree_ev;
      if (std::abs(off) >= 1) continue;
      const double weight = (1 - off * off) * (1 - off * off);
      normal.noalias() += weight * value * value.transpose();
      right.noalias() += weight * ratio_ev * value;
      ++fit.agreeing;
    }
    if (fit.agreeing == 0) break;
    for (Eigen::Index i = 1; i < size; ++i) {
      const double order = basis.order(static_cast<int>(i));
      normal(i, i) += kStiffness * static_cast<double>(blocks.size()) * (1 + order * order);
    }
    terms = normal.ldlt().solve(right);
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
  const std::vector<Block> blocks = comparable_blocks(views, subject_map);
  if (blocks.empty()) return {};
  const Basis basis(views.closed, width, height, harmonics);
  const Eigen::MatrixXd values = values_at(basis, blocks);
  std::array<std::vector<double>, 3> terms;
  for (std::size_t c = 0; c < 3; ++c) {
    ChannelFit fit = fit_channel(basis, values, blocks, c, options.agree_ev);
    if (fit.agreeing * kBlock_px * kBlock_px < options.least_px) return {};
    terms[c] = std::move(fit.terms);
  }
  return {views.closed, width, height, harmonics, options.most_ev, std::move(terms)};
}

}  // namespace seamwright
