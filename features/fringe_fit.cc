#include <algorithm>
#include <cmath>

#include "base/median.h"
#include "features/fringe.h"
#include "projection/dense_algebra.h"

namespace seamwright {

namespace {

constexpr int kTerms = 3;
constexpr double kCauchy = 2.0;  // of a whitened residual; beyond it a sample counts ever less
constexpr int kRounds = 30;
constexpr double kOutlier_sigmas = 4;

// r (1, r̂², r̂⁴), px per unit of the terms.
Eigen::Vector3d basis(double radius_px, double rim_radius_px) {
  const double q = std::pow(radius_px / rim_radius_px, 2);
  return radius_px * Eigen::Vector3d(1, q, q * q);
}

struct Solved {
  Eigen::Vector3d terms = Eigen::Vector3d::Zero();
  Eigen::Matrix3d covariance = Eigen::Matrix3d::Zero();
  double spread = 0;
};

// Iteratively reweighted least squares with the first `order` terms; the claimed sigmas are scaled
// by the spread of the residuals that they leave.
Solved solve(std::span<const FringeSample> samples, double rim_radius_px, double floor_px,
             int order) {
  Solved solved;
  std::vector<double> whitened(samples.size());
  for (int round = 0; round < kRounds; ++round) {
    for (std::size_t i = 0; i < samples.size(); ++i) {
      const double fitted = solved.terms.dot(basis(samples[i].radius_px, rim_radius_px));
      whitened[i] = (samples[i].radial_px - fitted) / std::hypot(samples[i].sigma_px, floor_px);
    }
    std::vector<double> sizes = whitened;
    for (double& size : sizes) size = std::abs(size);
    solved.spread = std::max(1e-6, 1.4826 * median(std::move(sizes)));
    if (order == 0) return solved;
    // Of the step, and of the loss itself: the latter's curvature and the scatter of the influences
    // make the covariance of a robust estimate (Huber 1967).
    Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(order, order);
    Eigen::MatrixXd curvature = normal;
    Eigen::MatrixXd scatter = normal;
    Eigen::VectorXd right = Eigen::VectorXd::Zero(order);
    for (std::size_t i = 0; i < samples.size(); ++i) {
      const double sigma = std::hypot(samples[i].sigma_px, floor_px);
      const double far2 = std::pow(whitened[i] / (solved.spread * kCauchy), 2);
      const double weight = 1 / ((1 + far2) * sigma * sigma);
      const Eigen::VectorXd row = basis(samples[i].radius_px, rim_radius_px).head(order);
      const Eigen::MatrixXd square = row * row.transpose();
      normal += weight * square;
      right += weight * samples[i].radial_px * row;
      curvature += weight * (1 - far2) / (1 + far2) * square;
      scatter += std::pow(weight * whitened[i] * sigma, 2) * square;
    }
    const Eigen::Vector3d before = solved.terms;
    solved.terms.setZero();
    solved.terms.head(order) = solve_symmetric(normal, right);
    const SymmetricFactor factor(curvature);
    const Eigen::MatrixXd half = factor.solve(scatter);
    solved.covariance.setZero();
    solved.covariance.topLeftCorner(order, order) = factor.solve(half.transpose());
    if ((solved.terms - before).norm() < 1e-10) break;
  }
  return solved;
}

void tell_quality(std::span<const FringeSample> samples, double rim_radius_px, double floor_px,
                  FringeFit& fit) {
  double before = 0;
  double after = 0;
  int outer = 0;
  std::vector<double> tangential;
  for (const FringeSample& sample : samples) {
    const double r_hat = sample.radius_px / rim_radius_px;
    const double rest = sample.radial_px - sample.radius_px * (fit.terms.scale(r_hat) - 1);
    const double sigma = std::max(fit.spread, 1e-6) * std::hypot(sample.sigma_px, floor_px);
    if (std::abs(rest) > kOutlier_sigmas * sigma) {
      ++fit.outliers;
      continue;
    }
    if (sample.tangential_sigma_px < 0.3) tangential.push_back(sample.tangential_px);
    if (r_hat < 0.9) continue;
    before += sample.radial_px * sample.radial_px;
    after += rest * rest;
    ++outer;
  }
  fit.tangential_mean_px = median(std::move(tangential));
  if (outer == 0) return;
  fit.before_px = std::sqrt(before / outer);
  fit.after_px = std::sqrt(after / outer);
}

}  // namespace

double FringeFit::sigma_px(double r_hat, double rim_radius_px) const {
  const Eigen::Vector3d row = basis(r_hat * rim_radius_px, rim_radius_px);
  return std::sqrt(std::max(0.0, row.dot(covariance * row)));
}

FringeFit fit_fringe(std::span<const FringeSample> samples, double rim_radius_px,
                     const FringeOptions& options) {
  FringeFit fit;
  fit.patches = static_cast<int>(samples.size());
  if (fit.patches < options.minimum_patches) return fit;
  // Higher terms need the outer field: without it the polynomial would run away towards the rim.
  double reach = 0;
  for (const FringeSample& sample : samples) reach = std::max(reach, sample.radius_px);
  const int highest = reach > 0.85 * rim_radius_px ? kTerms : 1;
  for (int order = highest; order >= 0; --order) {
    fit.order = order;
    const Solved solved = solve(samples, rim_radius_px, options.sigma_floor_px, order);
    fit.terms = {solved.terms[0], solved.terms[1], solved.terms[2]};
    fit.covariance = solved.covariance;
    fit.spread = solved.spread;
    if (order == 0) break;
    const int last = order - 1;
    if (std::abs(solved.terms[last]) >=
        options.drop_below_sigmas * std::sqrt(solved.covariance(last, last))) {
      break;
    }
  }
  tell_quality(samples, rim_radius_px, options.sigma_floor_px, fit);
  return fit;
}

}  // namespace seamwright
