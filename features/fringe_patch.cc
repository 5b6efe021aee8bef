#include "features/fringe_patch.h"

#include <cmath>

namespace seamwright {

namespace {

constexpr int kMaxSteps = 12;
constexpr double kSettled_px = 1e-3;

// Blurred and interpolated noise is alike in neighbouring pixels; so many of them count as one.
constexpr double kPixelsPerIndependent = 3;

// Of a green patch, along the radius: below this its texture is noise or a smooth shade.
constexpr double kLeastContrast = 0.02;

}  // namespace

Vec2 FringePatch::position(std::size_t sample, double shift_px) const {
  const int side = 2 * half_ + 1;
  const int i = static_cast<int>(sample) % side - half_;
  const int j = static_cast<int>(sample) / side - half_;
  const Vec2 across(-along_.y(), along_.x());
  return px_ + (i + shift_px) * along_ + j * across;
}

std::optional<FringePatch> FringePatch::at(const SplinePlane& green, const Vec2& px,
                                           const Vec2& along, int window) {
  FringePatch patch;
  patch.px_ = px;
  patch.along_ = along;
  patch.half_ = window / 2;
  const int side = 2 * patch.half_ + 1;
  const Vec2 across(-along.y(), along.x());
  const double width = 0.45 * patch.half_;
  const auto count = static_cast<std::size_t>(side) * static_cast<std::size_t>(side);
  double sum = 0;
  double level = 0;
  double slope2 = 0;
  for (std::size_t k = 0; k < count; ++k) {
    const int i = static_cast<int>(k) % side - patch.half_;
    const int j = static_cast<int>(k) / side - patch.half_;
    const Vec2 at = patch.position(k, 0);
    const SplinePlane::Sample sample = green.sample(at.x(), at.y());
    const Vec2 slope(sample.du, sample.dv);
    const double weight = std::exp(-0.5 * (i * i + j * j) / (width * width));
    Row row;
    row << static_cast<double>(sample.value), 1, 1.0 * i / patch.half_, 1.0 * j / patch.half_,
        slope.dot(along), slope.dot(across);
    patch.weight_.push_back(weight);
    patch.rows_.push_back(row);
    sum += weight;
    level += weight * row[0];
    slope2 += weight * row[kAlong] * row[kAlong];
  }
  level /= sum;
  if (level <= 0 || std::sqrt(slope2 / sum) < kLeastContrast * level) return std::nullopt;
  for (std::size_t k = 0; k < count; ++k) {
    double& weight = patch.weight_[k];
    weight /= sum;
    Row& row = patch.rows_[k];
    row[0] -= level;  // keeps the normal matrix well conditioned; β absorbs it
    patch.normal_.noalias() += weight * row * row.transpose();
    patch.noise_.noalias() += weight * weight * row * row.transpose();
  }
  // A whisper of a ridge: a pure edge has no slope across, its term then stays at zero.
  for (int i = 0; i < kTerms; ++i) patch.normal_(i, i) *= 1 + 1e-9;
  for (int terms = kWithoutShifts; terms <= kTerms; ++terms) {
    auto& factor = patch.factors_[static_cast<std::size_t>(terms - kWithoutShifts)];
    factor = SymmetricFactor(patch.normal_.topLeftCorner(terms, terms));
    if (terms < kTerms && !(factor.found() && factor.is_positive())) return std::nullopt;
  }
  return patch;
}

std::vector<double> FringePatch::read(const SplinePlane& colour, double shift_px) const {
  std::vector<double> values;
  values.reserve(rows_.size());
  for (std::size_t k = 0; k < rows_.size(); ++k) {
    const Vec2 at = position(k, shift_px);
    values.push_back(static_cast<double>(colour.value(at.x(), at.y())));
  }
  return values;
}

FringePatch::Fit FringePatch::fit(const std::vector<double>& values, int terms) const {
  Row right = Row::Zero();
  double mean = 0;
  double square = 0;
  for (std::size_t k = 0; k < values.size(); ++k) {
    right += weight_[k] * values[k] * rows_[k];
    mean += weight_[k] * values[k];
    square += weight_[k] * values[k] * values[k];
  }
  Fit fit;
  fit.coefficients.head(terms) = factor(terms).solve(right.head(terms));
  for (std::size_t k = 0; k < values.size(); ++k) {
    const double rest = values[k] - fit.coefficients.dot(rows_[k]);
    fit.residual2 += weight_[k] * rest * rest;
  }
  const double variance = square - mean * mean;
  if (variance > 0) fit.correlation = std::sqrt(std::max(0.0, 1 - fit.residual2 / variance));
  return fit;
}

// The whole shift at which the colours go together best.
double FringePatch::start(const SplinePlane& colour, int reach_px) const {
  double best = 0;
  double best_correlation = -1;
  for (int shift = -reach_px; shift <= reach_px; ++shift) {
    const Fit tried = fit(read(colour, shift), kWithoutShifts);
    if (tried.coefficients[0] <= 0 || tried.correlation <= best_correlation) continue;
    best = shift;
    best_correlation = tried.correlation;
  }
  return best;
}

std::optional<FringeSample> FringePatch::align(const SplinePlane& colour, int reach_px,
                                               double min_correlation) const {
  double shift = start(colour, reach_px);
  bool settled = false;
  for (int step = 0; step < kMaxSteps && !settled; ++step) {
    const Fit fitted = fit(read(colour, shift), kAlong + 1);
    if (fitted.coefficients[0] <= 0) return std::nullopt;
    const double move = -fitted.coefficients[kAlong] / fitted.coefficients[0];
    if (!(std::abs(move) <= 1.5)) return std::nullopt;
    shift += move;
    if (std::abs(shift) > reach_px) return std::nullopt;
    settled = std::abs(move) < kSettled_px;
  }
  if (!settled) return std::nullopt;
  const std::vector<double> values = read(colour, shift);
  const Fit fitted = fit(values, kAlong + 1);
  if (fitted.correlation < min_correlation || fitted.coefficients[0] <= 0) return std::nullopt;

  const auto sigma = [&](int terms, int term) {
    const Eigen::VectorXd unit = Eigen::VectorXd::Unit(terms, term);
    const Eigen::VectorXd row = factor(terms).solve(unit);
    const double variance = row.dot(noise_.topLeftCorner(terms, terms) * row);
    return std::sqrt(fitted.residual2 * kPixelsPerIndependent * std::max(0.0, variance)) /
           fitted.coefficients[0];
  };
  FringeSample sample{.px = px_, .radial_px = shift, .sigma_px = sigma(kAlong + 1, kAlong)};
  const Fit both = fit(values, kTerms);
  sample.tangential_px = -both.coefficients[kAcross] / both.coefficients[0];
  sample.tangential_sigma_px = sigma(kTerms, kAcross);
  return sample;
}

}  // namespace seamwright
