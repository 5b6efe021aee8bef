#include "features/patch_aligner.h"

#include <array>
#include <cmath>
#include <cstddef>

#include <Eigen/Cholesky>

#include "features/strip.h"

namespace seamwright {

namespace {

constexpr double kStill_px = 0.002;       // a step this small ends the iteration
constexpr double kStillEnough_px = 0.03;  // … and this small is accepted when it runs out
constexpr double kFlat = 1.5 / 65535.0;   // patch deviation below which there is no texture
constexpr int kCorrelationReach = 3;      // samples over which interpolated noise correlates
// Spread of the affine difference's terms: ψ by q (rows of E), then η by q. Depth slopes shear and
// stretch along η only; across, the rig's small errors are all there is.
constexpr double kAcrossAffineSigma = 0.01;
constexpr double kAlongAffineSigma = 0.06;
constexpr double kForbidden = 1e12;  // precision of a term that is held at zero

double square(double x) { return x * x; }

}  // namespace

std::optional<PatchMap> PatchMap::around(const LensView& view, const RibbonGrid& grid,
                                         const Vec2& at, const Vec2& step, double reach) {
  std::array<Vec2, 9> px;
  for (int j = -1; j <= 1; ++j) {
    for (int i = -1; i <= 1; ++i) {
      const Vec2 strip_px = at + reach * Vec2(i * step.x(), j * step.y());
      const auto found = view.mounted.project_direction(grid.direction(strip_px));
      if (!found || !view.plane.contains(*found) || !view.field.contains(*found, 2)) {
        return std::nullopt;
      }
      px[static_cast<std::size_t>(3 * (j + 1) + i + 1)] = *found;
    }
  }
  PatchMap map;
  map.base_ = px[4];
  map.x_ = (px[5] - px[3]) / (2 * reach);
  map.y_ = (px[7] - px[1]) / (2 * reach);
  map.xx_ = (px[5] + px[3] - 2 * px[4]) / (2 * square(reach));
  map.yy_ = (px[7] + px[1] - 2 * px[4]) / (2 * square(reach));
  map.xy_ = (px[8] - px[6] - px[2] + px[0]) / (4 * square(reach));
  return map;
}

PatchAligner::PatchAligner(const LensView& a, const PatchMap& map_a, const LensView& b,
                           const PatchMap& map_b, const RefineOptions& options)
    : a_(a), b_(b), map_a_(map_a), map_b_(map_b), options_(options), side_(options.window) {
  const double across = options.affine ? 1 / square(kAcrossAffineSigma) : kForbidden;
  const double along = options.affine ? 1 / square(kAlongAffineSigma) : kForbidden;
  const double hold = 1 / square(options.sigma_cap_px);
  prior_ << hold, hold, across, across, along, along, 0, 0;

  const auto count = static_cast<std::size_t>(side_) * static_cast<std::size_t>(side_);
  value_a_.resize(count);
  value_b_.resize(count);
  residual_.resize(count);
  regressor_.resize(count);
  const double sigma = side_ / 4.0;
  double sum = 0;
  double sum_of_squares = 0;
  for (int i = 0; i < side_; ++i) {
    const double w = std::exp(-0.5 * square((i - side_ / 2) / sigma));
    weight_.push_back(static_cast<float>(w));
    sum += w;
    sum_of_squares += w * w;
  }
  weight_sum_ = square(sum);
  effective_samples_ = square(square(sum) / sum_of_squares);
}

Vec2 PatchAligner::displacement(const Vec2& q) const {
  return {state_[0] + state_[2] * q.x() + state_[3] * q.y(),
          state_[1] + state_[4] * q.x() + state_[5] * q.y()};
}

Vec2 PatchAligner::sample_position(int index) const {
  return {static_cast<double>(index % side_ - side_ / 2),
          static_cast<double>(index / side_ - side_ / 2)};
}

void PatchAligner::read_values() {
  for (int k = 0; k < side_ * side_; ++k) {
    const Vec2 q = sample_position(k);
    const Vec2 half = 0.5 * displacement(q);
    const Vec2 px_a = map_a_.frame_px(q - half);
    const Vec2 px_b = map_b_.frame_px(q + half);
    value_a_[static_cast<std::size_t>(k)] = a_.plane.value(px_a.x(), px_a.y());
    value_b_[static_cast<std::size_t>(k)] = b_.plane.value(px_b.x(), px_b.y());
  }
}

// Brings both patches to mean 0 and deviation 1, and subtracts. False without texture.
bool PatchAligner::take_residuals() {
  const auto standardise = [&](std::vector<float>& values) {
    double sum = 0;
    double sum_of_squares = 0;
    for (int k = 0; k < side_ * side_; ++k) {
      const double w = static_cast<double>(weight_[static_cast<std::size_t>(k % side_)]) *
                       weight_[static_cast<std::size_t>(k / side_)];
      const double v = values[static_cast<std::size_t>(k)];
      sum += w * v;
      sum_of_squares += w * v * v;
    }
    const double mean = sum / weight_sum_;
    const double variance = sum_of_squares / weight_sum_ - square(mean);
    if (!(variance > square(kFlat))) return 0.0;
    const double scale = 1 / std::sqrt(variance);
    for (float& v : values) v = static_cast<float>((v - mean) * scale);
    return scale;
  };
  scale_a_ = standardise(value_a_);
  scale_b_ = standardise(value_b_);
  if (scale_a_ == 0 || scale_b_ == 0) return false;
  double sum_of_squares = 0;
  for (int k = 0; k < side_ * side_; ++k) {
    const auto i = static_cast<std::size_t>(k);
    residual_[i] = value_b_[i] - value_a_[i];
    sum_of_squares += static_cast<double>(weight_[static_cast<std::size_t>(k % side_)]) *
                      weight_[static_cast<std::size_t>(k / side_)] * square(residual_[i]);
  }
  variance_ = std::max(
      sum_of_squares / weight_sum_ * effective_samples_ / (effective_samples_ - kUnknowns), 1e-8);
  return true;
}

// Change of the residual by each unknown: the mean gradient of both patches. Needs standardised
// values.
void PatchAligner::read_regressors() {
  for (int k = 0; k < side_ * side_; ++k) {
    const Vec2 q = sample_position(k);
    const Vec2 half = 0.5 * displacement(q);
    const Vec2 q_a = q - half;
    const Vec2 q_b = q + half;
    const Vec2 px_a = map_a_.frame_px(q_a);
    const Vec2 px_b = map_b_.frame_px(q_b);
    const auto in_a = a_.plane.sample(px_a.x(), px_a.y());
    const auto in_b = b_.plane.sample(px_b.x(), px_b.y());
    const Vec2 g = 0.5 * (scale_a_ * map_a_.jacobian(q_a).transpose() * Vec2(in_a.du, in_a.dv) +
                          scale_b_ * map_b_.jacobian(q_b).transpose() * Vec2(in_b.du, in_b.dv));
    const auto i = static_cast<std::size_t>(k);
    Unknowns row;
    row << g.x(), g.y(), g.x() * q.x(), g.x() * q.y(), g.y() * q.x(), g.y() * q.y(),
        0.5 * (value_a_[i] + value_b_[i]), 1;
    regressor_[i] = row.cast<float>();
  }
}

PatchAligner::Normal PatchAligner::information() const {
  Eigen::Matrix<float, kUnknowns, kUnknowns> sum =
      Eigen::Matrix<float, kUnknowns, kUnknowns>::Zero();
  for (int k = 0; k < side_ * side_; ++k) {
    const float w =
        weight_[static_cast<std::size_t>(k % side_)] * weight_[static_cast<std::size_t>(k / side_)];
    const Regressor& g = regressor_[static_cast<std::size_t>(k)];
    sum.noalias() += (w * g) * g.transpose();
  }
  Normal normal = sum.cast<double>() / variance_;
  normal.diagonal() += prior_;
  return normal;
}

PatchAligner::Unknowns PatchAligner::gradient() const {
  Regressor sum = Regressor::Zero();
  for (int k = 0; k < side_ * side_; ++k) {
    const auto i = static_cast<std::size_t>(k);
    const float w =
        weight_[static_cast<std::size_t>(k % side_)] * weight_[static_cast<std::size_t>(k / side_)];
    sum += (w * residual_[i]) * regressor_[i];
  }
  return sum.cast<double>() / variance_ + prior_.cwiseProduct(state_);
}

// The sandwich of refine.h for the shift alone. Influence of sample k on it: first two rows of
// A⁻¹ w g / σ². The noise model is the mean of two: white pixel noise carried through the
// interpolation, and the products of the residuals themselves, which see where the misfit sits.
Mat2 PatchAligner::covariance() const {
  const Normal inverse = information().ldlt().solve(Normal::Identity());
  const auto count = static_cast<std::size_t>(side_) * static_cast<std::size_t>(side_);
  std::vector<Vec2> influence(count);
  for (int k = 0; k < side_ * side_; ++k) {
    const auto i = static_cast<std::size_t>(k);
    const double w = static_cast<double>(weight_[static_cast<std::size_t>(k % side_)]) *
                     weight_[static_cast<std::size_t>(k / side_)];
    influence[i] = inverse.topRows<2>() * (w / variance_ * regressor_[i].cast<double>());
  }
  const Mat2 jacobian_a = map_a_.jacobian(Vec2::Zero());
  const Mat2 jacobian_b = map_b_.jacobian(Vec2::Zero());
  const auto correlation = [](const Mat2& jacobian, const Vec2& lag) {
    const Vec2 lag_px = jacobian * lag;
    return SplinePlane::noise_correlation(lag_px.x()) * SplinePlane::noise_correlation(lag_px.y());
  };
  Mat2 modelled = Mat2::Zero();
  Mat2 observed = Mat2::Zero();
  for (int dy = -kCorrelationReach; dy <= kCorrelationReach; ++dy) {
    for (int dx = -kCorrelationReach; dx <= kCorrelationReach; ++dx) {
      const Vec2 lag(dx, dy);
      const double model =
          variance_ * 0.5 * (correlation(jacobian_a, lag) + correlation(jacobian_b, lag));
      const double taper = (1 - std::abs(dx) / (kCorrelationReach + 1.0)) *
                           (1 - std::abs(dy) / (kCorrelationReach + 1.0));
      Mat2 plain = Mat2::Zero();
      Mat2 with_residuals = Mat2::Zero();
      for (int y = std::max(0, -dy); y < side_ - std::max(0, dy); ++y) {
        for (int x = std::max(0, -dx); x < side_ - std::max(0, dx); ++x) {
          const auto i = static_cast<std::size_t>(y * side_ + x);
          const auto j = static_cast<std::size_t>((y + dy) * side_ + x + dx);
          const Mat2 product = influence[i] * influence[j].transpose();
          plain += product;
          with_residuals += static_cast<double>(residual_[i] * residual_[j]) * product;
        }
      }
      modelled += model * plain;
      observed += taper * with_residuals;
    }
  }
  const Mat2 from_prior = inverse.topRows<2>() * prior_.asDiagonal() * inverse.leftCols<2>();
  const Mat2 sum = 0.5 * (modelled + observed) + from_prior;
  return 0.5 * (sum + sum.transpose());
}

std::optional<PatchAligner::Outcome> PatchAligner::align() {
  read_values();
  if (!take_residuals()) return std::nullopt;
  read_regressors();
  double moved = 0;
  for (int i = 0; i < options_.max_iterations; ++i) {
    Unknowns step = -information().ldlt().solve(gradient());
    if (!step.allFinite()) return std::nullopt;
    step.tail<2>().setZero();  // gain and offset are taken out anew each time
    moved = step.head<2>().norm();
    if (moved > 1) step /= moved;
    state_ += step;
    if (state_.head<2>().norm() > options_.max_drift_px) return std::nullopt;
    read_values();
    if (!take_residuals()) return std::nullopt;
    if (moved < kStill_px) break;
    if (i % 4 == 1) read_regressors();
  }
  if (moved > kStillEnough_px) return std::nullopt;
  read_regressors();
  Outcome outcome;
  outcome.shift = state_.head<2>();
  outcome.covariance = covariance();
  outcome.noise = std::sqrt(variance_);
  outcome.ncc = 1 - 0.5 * variance_ * (effective_samples_ - kUnknowns) / effective_samples_;
  return outcome;
}

}  // namespace seamwright
