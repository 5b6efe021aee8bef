#include "features/patch_aligner.h"

#include <array>
#include <cmath>
#include <cstddef>

#include <Eigen/Cholesky>

#include "features/strip.h"

namespace seamwright {

namespace {

constexpr double kStill = 0.002;         // a step of so many samples ends the iteration
constexpr double kStillEnough = 0.03;    // … and this small is accepted when it runs out
constexpr double kFlat = 1.5 / 65535.0;  // patch deviation below which there is no texture
constexpr int kCorrelationReach = 3;     // samples over which interpolated noise correlates
// Spread of the affine difference's terms: ψ by q (rows of E), then η by q. Depth slopes shear and
// stretch along η only; across, the rig's small errors are all there is.
constexpr double kAcrossAffineSigma = 0.01;
constexpr double kAlongAffineSigma = 0.06;
constexpr double kForbidden = 1e12;  // precision of a term that is held at zero

double square(double x) { return x * x; }

}  // namespace

std::optional<PatchMap> PatchMap::around(const LensView& view, int level, const RibbonGrid& grid,
                                         const Vec2& at, const Vec2& step, double reach) {
  const SplinePlane& plane = view.levels[static_cast<std::size_t>(level)];
  std::array<Vec2, 9> px;
  for (int j = -1; j <= 1; ++j) {
    for (int i = -1; i <= 1; ++i) {
      const Vec2 strip_px = at + reach * Vec2(i * step.x(), j * step.y());
      const auto found = view.mounted.project_direction(grid.direction(strip_px));
      if (!found || !plane.contains(*found) || !view.field.contains(*found, 2)) {
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

PatchAligner::PatchAligner(const SplinePlane& a, const PatchMap& map_a, const SplinePlane& b,
                           const PatchMap& map_b, const RefineOptions& options)
    : a_(a),
      b_(b),
      map_a_(map_a),
      map_b_(map_b),
      max_iterations_(options.max_iterations),
      max_drift_(options.max_drift_px / a.step()),
      side_(options.window) {
  const double across = options.affine ? 1 / square(kAcrossAffineSigma) : kForbidden;
  const double along = options.affine ? 1 / square(kAlongAffineSigma) : kForbidden;
  const double hold = square(a.step() / options.sigma_cap_px);
  prior_ << hold, hold, across, across, along, along, 0, 0, 0, 0;

  const auto count = static_cast<std::size_t>(side_) * static_cast<std::size_t>(side_);
  value_a_.resize(count);
  value_b_.resize(count);
  residual_.resize(count);
  regressor_a_.resize(count);
  regressor_b_.resize(count);
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
  for (int k = 0; k < side_ * side_; ++k)
    second_moment_ += weight(k) * square(k % side_ - side_ / 2);
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
    value_a_[static_cast<std::size_t>(k)] = a_.value(px_a.x(), px_a.y());
    value_b_[static_cast<std::size_t>(k)] = b_.value(px_b.x(), px_b.y());
  }
}

// Brings both patches to deviation 1 with mean and slopes taken out, and subtracts. False without
// texture.
bool PatchAligner::take_residuals() {
  const auto standardise = [&](std::vector<float>& values) {
    double sum = 0;
    Vec2 moments = Vec2::Zero();
    for (int k = 0; k < side_ * side_; ++k) {
      const double v = static_cast<double>(weight(k)) * values[static_cast<std::size_t>(k)];
      sum += v;
      moments += v * sample_position(k);
    }
    const double mean = sum / weight_sum_;
    const Vec2 slope = moments / second_moment_;
    double sum_of_squares = 0;
    for (int k = 0; k < side_ * side_; ++k) {
      float& v = values[static_cast<std::size_t>(k)];
      v -= static_cast<float>(mean + slope.dot(sample_position(k)));
      sum_of_squares += static_cast<double>(weight(k) * v * v);
    }
    const double variance = sum_of_squares / weight_sum_;
    if (!(variance > square(kFlat))) return 0.0;
    const double scale = 1 / std::sqrt(variance);
    for (float& v : values) v *= static_cast<float>(scale);
    return scale;
  };
  scale_a_ = standardise(value_a_);
  scale_b_ = standardise(value_b_);
  if (scale_a_ == 0 || scale_b_ == 0) return false;
  double sum_of_squares = 0;
  for (int k = 0; k < side_ * side_; ++k) {
    const auto i = static_cast<std::size_t>(k);
    residual_[i] = value_b_[i] - value_a_[i];
    sum_of_squares += static_cast<double>(weight(k)) * square(residual_[i]);
  }
  variance_ = std::max(
      sum_of_squares / weight_sum_ * effective_samples_ / (effective_samples_ - kUnknowns), 1e-8);
  return true;
}

// Change of the residual by each unknown, as either patch tells it. Needs standardised values.
void PatchAligner::read_regressors() {
  const auto regressor = [](const SplinePlane& plane, const PatchMap& map, const Vec2& q_moved,
                            const Vec2& q, double scale, float value) {
    const Vec2 px = map.frame_px(q_moved);
    const auto sample = plane.sample(px.x(), px.y());
    const Vec2 g = scale * map.jacobian(q_moved).transpose() * Vec2(sample.du, sample.dv);
    Unknowns row;
    row << g.x(), g.y(), g.x() * q.x(), g.x() * q.y(), g.y() * q.x(), g.y() * q.y(), value, 1,
        q.x(), q.y();
    return Regressor(row.cast<float>());
  };
  for (int k = 0; k < side_ * side_; ++k) {
    const auto i = static_cast<std::size_t>(k);
    const Vec2 q = sample_position(k);
    const Vec2 half = 0.5 * displacement(q);
    regressor_a_[i] = regressor(a_, map_a_, q - half, q, scale_a_, value_a_[i]);
    regressor_b_[i] = regressor(b_, map_b_, q + half, q, scale_b_, value_b_[i]);
  }
}

PatchAligner::Curvature PatchAligner::curvature() const {
  using NormalF = Eigen::Matrix<float, kUnknowns, kUnknowns>;
  NormalF same = NormalF::Zero();
  NormalF cross = NormalF::Zero();
  for (int k = 0; k < side_ * side_; ++k) {
    const Regressor& a = regressor_a_[static_cast<std::size_t>(k)];
    const Regressor& b = regressor_b_[static_cast<std::size_t>(k)];
    const Regressor wa = weight(k) * a;
    const Regressor wb = weight(k) * b;
    same.noalias() += wa * a.transpose() + wb * b.transpose();
    cross.noalias() += wa * b.transpose();
  }
  Curvature curvature;
  const Normal crossed = (0.5F * (cross + cross.transpose())).cast<double>();
  curvature.symmetric = (0.25 * same.cast<double>() + 0.5 * crossed) / variance_;
  curvature.crossed = crossed / variance_;
  curvature.symmetric.diagonal() += prior_;
  curvature.crossed.diagonal() += prior_;
  return curvature;
}

PatchAligner::Unknowns PatchAligner::gradient() const {
  Regressor sum = Regressor::Zero();
  for (int k = 0; k < side_ * side_; ++k) {
    const auto i = static_cast<std::size_t>(k);
    sum += (0.5F * weight(k) * residual_[i]) * (regressor_a_[i] + regressor_b_[i]);
  }
  return sum.cast<double>() / variance_ + prior_.cwiseProduct(state_);
}

// The sandwich of refine.h for the shift alone. Influence of sample k on it: first two rows of
// A⁻¹ w g / σ². The noise model is the mean of two: white pixel noise carried through the
// interpolation, and the products of the residuals themselves, which see where the misfit sits.
std::optional<Mat2> PatchAligner::covariance() const {
  const Eigen::LDLT<Normal> factor(curvature().crossed);
  if (factor.info() != Eigen::Success || !factor.isPositive()) return std::nullopt;
  const Normal inverse = factor.solve(Normal::Identity());
  const auto count = static_cast<std::size_t>(side_) * static_cast<std::size_t>(side_);
  std::vector<Vec2> influence(count);
  for (int k = 0; k < side_ * side_; ++k) {
    const auto i = static_cast<std::size_t>(k);
    const Unknowns g = 0.5 * (regressor_a_[i] + regressor_b_[i]).cast<double>();
    influence[i] = inverse.topRows<2>() * (static_cast<double>(weight(k)) / variance_ * g);
  }
  const Mat2 jacobian_a = map_a_.jacobian(Vec2::Zero());
  const Mat2 jacobian_b = map_b_.jacobian(Vec2::Zero());
  const auto correlation = [](const SplinePlane& plane, const Mat2& jacobian, const Vec2& lag) {
    const Vec2 lag_px = jacobian * lag;
    return plane.noise_correlation(lag_px.x()) * plane.noise_correlation(lag_px.y());
  };
  Mat2 modelled = Mat2::Zero();
  Mat2 observed = Mat2::Zero();
  for (int dy = -kCorrelationReach; dy <= kCorrelationReach; ++dy) {
    for (int dx = -kCorrelationReach; dx <= kCorrelationReach; ++dx) {
      const Vec2 lag(dx, dy);
      const double model =
          variance_ * 0.5 * (correlation(a_, jacobian_a, lag) + correlation(b_, jacobian_b, lag));
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
  const Mat2 sum = modelled + from_prior;
  return Mat2(0.5 * (sum + sum.transpose()));
}

std::optional<PatchAligner::Outcome> PatchAligner::align() {
  read_values();
  if (!take_residuals()) return std::nullopt;
  read_regressors();
  double moved = 0;
  for (int i = 0; i < max_iterations_; ++i) {
    const Curvature bend = curvature();
    // Between the two: Newton's own is the crossed one, the symmetric one keeps it safe.
    Unknowns step = -(0.5 * (bend.symmetric + bend.crossed)).ldlt().solve(gradient());
    if (!step.allFinite()) return std::nullopt;
    step.tail<kUnknowns - kMotion>().setZero();  // brightness is taken out anew each time
    moved = step.head<2>().norm();
    if (moved > 1) step /= moved;
    state_ += step;
    if (state_.head<2>().norm() > max_drift_) return std::nullopt;
    read_values();
    if (!take_residuals()) return std::nullopt;
    if (moved < kStill) break;
    if (i % 4 == 1) read_regressors();
  }
  if (moved > kStillEnough) return std::nullopt;
  read_regressors();
  const auto claimed = covariance();
  if (!claimed) return std::nullopt;
  Outcome outcome;
  outcome.shift = state_.head<2>();
  outcome.covariance = *claimed;
  outcome.noise = std::sqrt(variance_);
  outcome.ncc = 1 - 0.5 * variance_ * (effective_samples_ - kUnknowns) / effective_samples_;
  return outcome;
}

}  // namespace seamwright
