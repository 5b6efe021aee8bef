#include "features/patch_aligner.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include <Eigen/LU>

#include "features/square.h"
#include "projection/dense_algebra.h"
#include "sampling/strip.h"

namespace seamwright {

namespace {

constexpr double kStill = 0.001;       // a step of so many samples ends the iteration …
constexpr double kStillSigmas = 0.03;  // … and so does one this small against its own sigma
constexpr double kFirstDamping = 1e-3;
constexpr double kLeastDamping = 1e-5;
constexpr int kKeepCurvature = 4;         // iterations before gradients are read again
constexpr double kLeastVariance = 1e-5;   // of residuals: no model of two patches is better
constexpr double kFlat = 1.5 / 65535.0;   // patch deviation below which there is no texture
constexpr int kCorrelationReach = 3;      // samples over which interpolated noise correlates
constexpr double kSamplesPerFreedom = 3;  // interpolated noise is not independent between samples
constexpr double kForbidden = 1e12;       // precision of a term that is held at zero

// A symmetric matrix with its negative eigenvalues set to zero, after its unknowns were brought to
// like scale.
Eigen::MatrixXd without_negative(const Eigen::MatrixXd& symmetric) {
  const Eigen::VectorXd scale = symmetric.diagonal().cwiseAbs().cwiseMax(1e-12).cwiseSqrt();
  const Eigen::VectorXd inverse = scale.cwiseInverse();
  const SymmetricEigen eigen =
      eigen_of_symmetric(inverse.asDiagonal() * symmetric * inverse.asDiagonal());
  const Eigen::MatrixXd v = scale.asDiagonal() * eigen.vectors;
  return v * eigen.values.cwiseMax(0).asDiagonal() * v.transpose();
}

// How much of a curvature is believed, both as multiples of the curvature that noise alone has.
// Noise against noise averages to zero but scatters by `chance`, and alignment looks for where it
// is high.
double believed(double multiple, double chance) {
  const double doubtful = 2 * chance;
  if (multiple >= 3 * doubtful) return multiple;
  return 1.5 * std::max(0.0, multiple - doubtful);
}

}  // namespace

std::optional<PatchMap> PatchMap::around(const LensView& view, int level, const RibbonGrid& grid,
                                         const Vec2& at, const Vec2& step, double reach) {
  const auto frame_px = [&](const Vec2& q) {
    return view.mounted.project_direction(grid.direction(at + step.cwiseProduct(q)));
  };
  return through(view, level, frame_px, reach);
}

std::optional<PatchMap> PatchMap::through(const LensView& view, int level, const FramePx& frame_px,
                                          double reach) {
  const SplinePlane& plane = view.levels[static_cast<std::size_t>(level)];
  std::array<Vec2, 9> px;
  for (int j = -1; j <= 1; ++j) {
    for (int i = -1; i <= 1; ++i) {
      const auto found = frame_px(reach * Vec2(i, j));
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
                           const PatchMap& map_b, const RefineOptions& options,
                           const PatchPrior& known)
    : side_(options.window),
      max_iterations_(options.max_iterations),
      max_drift_(options.max_drift_px / a.step()) {
  const double sideways = options.affine ? 1 / square(known.sideways_affine) : kForbidden;
  const double parallax = options.affine ? 1 / square(known.parallax_affine) : kForbidden;
  const double hold = square(a.step() / options.sigma_cap_px);
  prior_ << hold, hold, sideways, sideways, parallax, parallax, 0, 0, 0, 0;

  const int half = side_ / 2;
  const double sigma = side_ / 4.0;
  double sum_of_squares = 0;
  for (int y = -half; y <= half; ++y) {
    for (int x = -half; x <= half; ++x) {
      const double w = std::exp(-0.5 * (square(x / sigma) + square(y / sigma)));
      q_.emplace_back(x, y);
      weight_.push_back(static_cast<float>(w));
      weight_sum_ += w;
      second_moment_ += w * x * x;
      sum_of_squares += w * w;
    }
  }
  effective_samples_ = square(weight_sum_) / sum_of_squares;
  const auto blank = [&](const SplinePlane& plane, const PatchMap& map, double towards) {
    return Patch{
        &plane, map, towards, std::vector<float>(q_.size()), std::vector<Regressor>(q_.size()),
        0.0};
  };
  a_ = blank(a, map_a, known.a_stays ? 0.0 : -0.5);
  b_ = blank(b, map_b, known.a_stays ? 1.0 : 0.5);
  residual_.resize(q_.size());
}

Vec2 PatchAligner::moved(const Patch& patch, const Vec2& q) const {
  return {q.x() + patch.towards * (state_[0] + state_[2] * q.x() + state_[3] * q.y()),
          q.y() + patch.towards * (state_[1] + state_[4] * q.x() + state_[5] * q.y())};
}

void PatchAligner::read_values(Patch& patch) const {
  for (std::size_t i = 0; i < q_.size(); ++i) {
    const Vec2 px = patch.map.frame_px(moved(patch, q_[i]));
    patch.values[i] = patch.plane->value(px.x(), px.y());
  }
}

// Takes out the weighted mean and slopes and divides by the deviation. False without texture.
bool PatchAligner::standardise(Patch& patch) const {
  double sum = 0;
  Vec2 moments = Vec2::Zero();
  for (std::size_t i = 0; i < q_.size(); ++i) {
    const double v = static_cast<double>(weight_[i]) * patch.values[i];
    sum += v;
    moments += v * q_[i];
  }
  const double mean = sum / weight_sum_;
  const Vec2 slope = moments / second_moment_;
  double sum_of_squares = 0;
  for (std::size_t i = 0; i < q_.size(); ++i) {
    float& v = patch.values[i];
    v -= static_cast<float>(mean + slope.dot(q_[i]));
    sum_of_squares += static_cast<double>(weight_[i] * v * v);
  }
  const double variance = sum_of_squares / weight_sum_;
  if (!(variance > square(kFlat))) return false;
  patch.scale = 1 / std::sqrt(variance);
  for (float& v : patch.values) v *= static_cast<float>(patch.scale);
  return true;
}

// Needs standardised values.
void PatchAligner::read_regressors(Patch& patch) const {
  for (std::size_t i = 0; i < q_.size(); ++i) {
    const Vec2 at = moved(patch, q_[i]);
    const Vec2 px = patch.map.frame_px(at);
    const auto sample = patch.plane->sample(px.x(), px.y());
    const Eigen::Vector2f g =
        (patch.scale * patch.map.jacobian(at).transpose() * Vec2(sample.du, sample.dv))
            .cast<float>();
    const Eigen::Vector2f q = q_[i].cast<float>();
    Regressor& row = patch.regressors[i];
    row.head<2>() = g;
    row.segment<2>(2) = g.x() * q;
    row.segment<2>(4) = g.y() * q;
    row[6] = patch.values[i];
    row[7] = 1;
    row.segment<2>(8) = q;
  }
}

// Reads both patches at the current state. False without texture.
bool PatchAligner::update_residuals() {
  for (Patch* patch : {&a_, &b_}) {
    read_values(*patch);
    if (!standardise(*patch)) return false;
  }
  double sum_of_squares = 0;
  for (std::size_t i = 0; i < q_.size(); ++i) {
    residual_[i] = b_.values[i] - a_.values[i];
    sum_of_squares += static_cast<double>(weight_[i] * residual_[i] * residual_[i]);
  }
  const double freedom = (effective_samples_ - kUnknowns) / effective_samples_;
  variance_ = std::max(sum_of_squares / weight_sum_ / freedom, kLeastVariance);
  return true;
}

void PatchAligner::update_curvature() {
  read_regressors(a_);
  read_regressors(b_);
  using NormalF = Eigen::Matrix<float, kUnknowns, kUnknowns>;
  NormalF own = NormalF::Zero();
  NormalF cross = NormalF::Zero();
  for (std::size_t i = 0; i < q_.size(); ++i) {
    const Regressor& a = a_.regressors[i];
    const Regressor& b = b_.regressors[i];
    const Regressor wa = weight_[i] * a;
    const Regressor wb = weight_[i] * b;
    own.noalias() += wa * a.transpose();
    own.noalias() += wb * b.transpose();
    cross.noalias() += wa * b.transpose();
  }
  curvature_.crossed = (0.5F * (cross + cross.transpose())).cast<double>();
  curvature_.symmetric = 0.25 * own.cast<double>() + 0.5 * curvature_.crossed;
}

PatchAligner::Unknowns PatchAligner::gradient() const {
  Regressor sum = Regressor::Zero();
  for (std::size_t i = 0; i < q_.size(); ++i) {
    sum += (0.5F * weight_[i] * residual_[i]) * (a_.regressors[i] + b_.regressors[i]);
  }
  return sum.cast<double>() / variance_ + prior_.cwiseProduct(state_);
}

// The crossed curvature without what may be chance: along an edge all of it is.
PatchAligner::Normal PatchAligner::trusted_curvature() const {
  using Motion = Eigen::Matrix<double, kMotion, kMotion>;
  const auto block = [](const Normal& m) { return Motion(m.topLeftCorner<kMotion, kMotion>()); };
  const Motion crossed = block(curvature_.crossed);
  // ½ (own a + own b) − crossed: what noise adds to the own ones.
  Motion noise = 2 * (block(curvature_.symmetric) - crossed);
  noise.diagonal() += 1e-6 * block(curvature_.symmetric).diagonal();
  const SymmetricEigen eigen = eigen_of_pencil(crossed, noise);
  if (!eigen.found) return curvature_.crossed;
  const double chance = 1 / std::sqrt(effective_samples_ / kSamplesPerFreedom);
  Motion doubted = Motion::Zero();
  for (int i = 0; i < kMotion; ++i) {
    const double multiple = eigen.values[i];
    const Eigen::Matrix<double, kMotion, 1> direction = noise * eigen.vectors.col(i);
    doubted += (multiple - believed(multiple, chance)) * direction * direction.transpose();
  }
  Normal trusted = curvature_.crossed;
  trusted.topLeftCorner<kMotion, kMotion>() -= doubted;
  return trusted;
}

// The sandwich of refine.h for the shift alone. The influence of a sample on it is the first two
// rows of A⁻¹ w g / σ².
std::optional<Mat2> PatchAligner::covariance() const {
  const Normal trusted = trusted_curvature() / variance_;
  Normal information = trusted;
  information.diagonal() += prior_;
  SymmetricFactor factor(information);
  if (!factor.is_positive()) {
    information = without_negative(trusted);
    information.diagonal() += prior_;
    factor = SymmetricFactor(information);
  }
  if (!factor.found() || !factor.is_positive()) return std::nullopt;
  const Normal inverse = factor.inverse();
  const Eigen::Matrix<float, 2, kUnknowns> rows =
      (inverse.topRows<2>() * (0.5 / variance_)).cast<float>();
  std::vector<Eigen::Vector2f> influence(q_.size());
  for (std::size_t i = 0; i < q_.size(); ++i) {
    influence[i] = rows * (weight_[i] * (a_.regressors[i] + b_.regressors[i]));
  }
  const Mat2 from_prior = inverse.topRows<2>() * prior_.asDiagonal() * inverse.leftCols<2>();
  const Mat2 sum = variance_ * spread(influence) + from_prior;
  // Where the prior holds more than the data, noise does not move the shift beyond it.
  const Mat2 capped =
      ((0.5 * (sum + sum.transpose())).inverse() + prior_[0] * Mat2::Identity()).inverse();
  return Mat2(0.5 * (capped + capped.transpose()));
}

// Σx Σy ψ_x ψ_yᵀ c(x − y): influences under noise of unit variance, white in both frames' pixels
// and carried here by the interpolation.
Mat2 PatchAligner::spread(const std::vector<Eigen::Vector2f>& influence) const {
  const auto correlation = [](const Patch& patch, const Vec2& lag) {
    const Vec2 lag_px = patch.map.jacobian(Vec2::Zero()) * lag;
    return patch.plane->noise_correlation(lag_px.x()) * patch.plane->noise_correlation(lag_px.y());
  };
  const auto at = [&](int x, int y) { return influence[static_cast<std::size_t>(y * side_ + x)]; };
  Mat2 sum = Mat2::Zero();
  for (int dy = 0; dy <= kCorrelationReach; ++dy) {
    // A lag and its opposite are each other's transpose: half of them is enough.
    for (int dx = dy == 0 ? 0 : -kCorrelationReach; dx <= kCorrelationReach; ++dx) {
      const Vec2 lag(dx, dy);
      const double c = 0.5 * (correlation(a_, lag) + correlation(b_, lag));
      Eigen::Matrix2f products = Eigen::Matrix2f::Zero();
      for (int y = 0; y < side_ - dy; ++y) {
        for (int x = std::max(0, -dx); x < side_ - std::max(0, dx); ++x) {
          products += at(x, y) * at(x + dx, y + dy).transpose();
        }
      }
      const Mat2 part = c * products.cast<double>();
      sum += dx == 0 && dy == 0 ? part : Mat2(part + part.transpose());
    }
  }
  return sum;
}

// What Gauss–Newton minimises, with the residuals' variance held.
double PatchAligner::energy(double variance) const {
  const double freedom = (effective_samples_ - kUnknowns) / effective_samples_;
  return variance_ * freedom * weight_sum_ / variance + prior_.dot(state_.cwiseProduct(state_));
}

// Levenberg–Marquardt: the direction along an edge is noise, and plain steps in it would wander.
bool PatchAligner::converge() {
  if (!update_residuals()) return false;
  double damping = kFirstDamping;
  bool fresh = false;
  for (int i = 0; i < max_iterations_; ++i) {
    if (!fresh) {
      update_curvature();
      fresh = true;
    }
    // Between the two: Newton's own is the crossed one, the symmetric one keeps it safe.
    Normal information = 0.5 / variance_ * (curvature_.symmetric + curvature_.crossed);
    information.diagonal() += prior_;
    // One damping for both directions of the shift: the weak one shall not run away.
    Normal damped = information;
    damped.diagonal().head<2>().array() += damping * information.diagonal().head<2>().maxCoeff();
    damped.diagonal().segment<kMotion - 2>(2) *= 1 + damping;
    Unknowns step = -solve_symmetric(damped, gradient());
    if (!step.allFinite()) return false;
    step.tail<kUnknowns - kMotion>().setZero();  // brightness is taken out anew each time
    const double in_sigmas2 = step.dot(information * step);
    const bool still = in_sigmas2 < kStillSigmas * kStillSigmas || step.head<2>().norm() < kStill;

    const Unknowns before = state_;
    const double variance = variance_;
    const double energy_before = energy(variance);
    state_ += step;
    if (state_.head<2>().norm() > max_drift_) return false;
    if (!update_residuals()) return false;
    if (energy(variance) <= energy_before) {
      if (still) return true;
      damping = std::max(damping / 5, kLeastDamping);
      fresh = i % kKeepCurvature != 0;
      continue;
    }
    state_ = before;
    if (!update_residuals()) return false;
    if (still) return true;
    damping *= 8;
    fresh = i % kKeepCurvature != 0;
  }
  return false;
}

std::optional<PatchAligner::Outcome> PatchAligner::align() {
  if (!converge()) return std::nullopt;
  update_curvature();
  const auto claimed = covariance();
  if (!claimed) return std::nullopt;
  Outcome outcome;
  outcome.shift = state_.head<2>();
  outcome.affine << state_[2], state_[3], state_[4], state_[5];
  outcome.covariance = *claimed;
  outcome.noise = std::sqrt(variance_);
  outcome.ncc = 1 - 0.5 * variance_ * (effective_samples_ - kUnknowns) / effective_samples_;
  return outcome;
}

}  // namespace seamwright
