#include "solver/depth_terms.h"

#include <cmath>

namespace seamwright {

namespace {

double information_of(double sigma) { return sigma > 0 ? 1 / (sigma * sigma) : 0; }

}  // namespace

DepthTerms::DepthTerms(const AdjustOptions& options, const Tie& tie, std::size_t index,
                       bool alone) {
  if (alone && !options.depth_priors.empty()) known_ = options.depth_priors[index];
  if (alone && options.depth_lean_per_m > 0) lean_ = 1 / options.depth_lean_per_m;
  floor_information_ = information_of(options.depth_floor_sigma_per_m);
  if (tie.range == TieRange::far) far_information_ = information_of(options.far_sigma_per_m);
}

double DepthTerms::cost(double inverse_depth) const {
  const double rho2 = inverse_depth * inverse_depth;
  double cost = 2 * lean_ * inverse_depth + far_information_ * rho2;
  if (inverse_depth < 0) cost += floor_information_ * rho2;
  if (known_.weight > 0) {
    const double off = (inverse_depth - known_.mean_per_m) / known_.sigma_per_m;
    cost += known_.weight * std::log1p(off * off);
  }
  return cost;
}

void DepthTerms::add(double inverse_depth, double& normal, double& gradient) const {
  // The floor's slope has no kink, but its curvature jumps at 0, where ties that would stand behind
  // infinity begin. They are about to meet it: without it their step would be far too long.
  double information = far_information_;
  if (inverse_depth <= 0) information += floor_information_;
  normal += information;
  gradient += lean_ + information * inverse_depth;
  if (known_.weight > 0) {
    const double off = inverse_depth - known_.mean_per_m;
    const double held = known_.weight / (known_.sigma_per_m * known_.sigma_per_m + off * off);
    normal += held;
    gradient += held * off;
  }
}

}  // namespace seamwright
