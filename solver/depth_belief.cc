#include "solver/depth_belief.h"

#include <algorithm>
#include <cmath>

namespace seamwright {

namespace {

constexpr double kLeanOrigin_per_m = 1;  // c: the floor keeps ρ from there by many sigmas
constexpr double kLeastShare = 0.1;      // of c: nearer to the root's end there is no slope

double information_of(double sigma) { return sigma > 0 ? 1 / (sigma * sigma) : 0; }

DepthBelief::Row lean_row(double lean, double inverse_depth) {
  const double least = kLeastShare * kLeanOrigin_per_m;
  const double from_end = std::max(inverse_depth + kLeanOrigin_per_m, least);
  const double value = std::sqrt(2 * lean * from_end);
  return {value, from_end > least ? lean / value : 0};
}

DepthBelief::Row known_row(const DepthPrior& known, double inverse_depth) {
  const double off = (inverse_depth - known.mean_per_m) / known.sigma_per_m;
  const double root = std::sqrt(std::log1p(off * off));
  const double scale = std::sqrt(known.weight);
  if (root < 1e-8) return {scale * off, scale / known.sigma_per_m};
  return {scale * std::copysign(root, off),
          scale * std::abs(off) / (1 + off * off) / root / known.sigma_per_m};
}

}  // namespace

DepthBelief::DepthBelief(const AdjustOptions& options, const Tie& tie, std::size_t index,
                         bool alone)
    : alone_(alone) {
  if (alone && !options.depth_priors.empty()) known_ = options.depth_priors[index];
  if (alone && options.depth_lean_per_m > 0) lean_ = 1 / options.depth_lean_per_m;
  floor_ = options.depth_floor_per_m;
  floor_information_ = information_of(options.depth_floor_sigma_per_m);
  if (tie.range == TieRange::far) far_information_ = information_of(options.far_sigma_per_m);
  count_ = (lean_ > 0 ? 1 : 0) + (floor_information_ + far_information_ > 0 ? 1 : 0) +
           (known_.weight > 0 ? 1 : 0);
}

DepthBelief::Rows DepthBelief::rows_at(double inverse_depth) const {
  Rows rows;
  std::size_t next = 0;
  if (lean_ > 0) rows[next++] = lean_row(lean_, inverse_depth);
  if (floor_information_ + far_information_ > 0) {
    // The floor's slope has no kink, but its curvature jumps where ties that would stand behind it
    // begin. They are about to meet it: without it their step would be far too long.
    const double floor = inverse_depth <= floor_ ? floor_information_ : 0;
    const double held = std::sqrt(far_information_ + floor);
    const double at = held > 0 ? floor * floor_ / (held * held) : 0;
    rows[next++] = {held * (inverse_depth - at), held};
  }
  if (known_.weight > 0) rows[next++] = known_row(known_, inverse_depth);
  return rows;
}

}  // namespace seamwright
