#pragma once

// Which ties a solution believes, and whether the noise they claim is the noise they have.

#include <cmath>
#include <optional>
#include <span>
#include <vector>

#include "base/median.h"
#include "base/result.h"
#include "solver/adjust.h"

namespace seamwright {

/// How one tie fits: χ² over its degrees of freedom, 2 · sights − 3.
struct TieMisfit {
  double chi2 = 0;
  int freedom = 1;
  bool counted = false;  ///< false where the tie was not used
};

[[nodiscard]] std::vector<TieMisfit> fits_of(const AdjustResult& result, std::span<const Tie> ties);

/// Robust ratio of real to claimed noise, 1 when the claims are right: median over the ties for
/// which `take(i)` holds, each against the median of its own χ² distribution. 1 without ties.
template <class Predicate>
[[nodiscard]] double noise_ratio(const std::vector<TieMisfit>& fits, Predicate&& take);

/// True for ties that fit within `sigmas` (as of one Gaussian variable), the noise being
/// `ratio` times what they claim.
[[nodiscard]] bool is_inlier(const TieMisfit& fit, double sigmas, double ratio);

/// Refuses too few ties, and ties that leave a lens unconnected.
[[nodiscard]] std::optional<Error> check_support(int lens_count, std::span<const Tie> ties,
                                                 std::span<const char> inlier, int minimum_ties);

/// Median of χ² with `freedom` degrees, per degree: Abramowitz & Stegun, table 26.8, for one;
/// Wilson & Hilferty 1931 beyond.
[[nodiscard]] double median_chi2_per_freedom(int freedom);

template <class Predicate>
double noise_ratio(const std::vector<TieMisfit>& fits, Predicate&& take) {
  std::vector<double> squares;
  for (std::size_t i = 0; i < fits.size(); ++i) {
    if (!fits[i].counted || !take(i)) continue;
    const int freedom = fits[i].freedom;
    squares.push_back(fits[i].chi2 / freedom / median_chi2_per_freedom(freedom));
  }
  return squares.empty() ? 1.0 : std::sqrt(median(std::move(squares)));
}

}  // namespace seamwright
