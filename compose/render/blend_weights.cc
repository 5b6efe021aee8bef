#include "compose/render/blend_weights.h"

#include <algorithm>
#include <array>
#include <cstddef>
#include <numeric>

#include "base/smooth_step.h"

namespace seamwright {

namespace {

// Share of lens i between i and j: as known, else by their margins.
double between(std::span<const PairStep> known, std::size_t i, std::size_t j, double by_margins) {
  for (const PairStep& step : known) {
    const bool forth = step.a == i && step.b == j;
    if (!forth && !(step.a == j && step.b == i)) continue;
    const double share = forth ? step.share_a : 1.0 - step.share_a;
    return step.weight * share + (1.0 - step.weight) * by_margins;
  }
  return by_margins;
}

void normalise(std::span<double> shares) {
  const double sum = std::accumulate(shares.begin(), shares.end(), 0.0);
  if (sum <= 0) return;
  for (double& share : shares) share /= sum;
}

}  // namespace

void BlendWeights::at(std::span<const double> margins_rad, std::span<double> shares,
                      std::span<const PairStep> known) const {
  const double sum = multiply_steps(margins_rad, shares, known);
  // Seams are found pair by pair, and three lenses may each lose against the next: then nobody is
  // left. There, and gradually towards it, margins decide.
  constexpr double kTooLittle = 0.05;
  if (sum < kTooLittle && !known.empty()) {
    std::array<double, kMaxLenses> by_margins{};
    const std::span<double> others(by_margins.data(), shares.size());
    multiply_steps(margins_rad, others, {});
    for (std::size_t i = 0; i < shares.size(); ++i) shares[i] += (kTooLittle - sum) * others[i];
  }
  normalise(shares);
}

double BlendWeights::multiply_steps(std::span<const double> margins_rad, std::span<double> shares,
                                    std::span<const PairStep> known) const {
  double sum = 0;
  for (std::size_t i = 0; i < margins_rad.size(); ++i) {
    shares[i] = margins_rad[i] > 0 ? 1.0 : 0.0;
    for (std::size_t j = 0; j < margins_rad.size() && shares[i] > 0; ++j) {
      if (j == i || margins_rad[j] <= 0) continue;
      // Crossing the seam by an angle changes the difference of margins by twice that angle.
      const double half_overlap = 0.5 * (margins_rad[i] + margins_rad[j]);
      const double half_width = std::min(half_width_rad_, 0.9 * half_overlap);
      const double by_margins =
          smooth_step(0.5 * ((margins_rad[i] - margins_rad[j]) / (2.0 * half_width) + 1.0));
      shares[i] *= between(known, i, j, by_margins);
    }
    sum += shares[i];
  }
  return sum;
}

}  // namespace seamwright
