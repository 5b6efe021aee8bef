#include "solver/inliers.h"

#include <algorithm>
#include <numeric>

#include <fmt/format.h>

namespace seamwright {

namespace {

std::vector<int> lens_groups(int lens_count, std::span<const Tie> ties,
                             std::span<const char> inlier) {
  std::vector<int> group(static_cast<std::size_t>(lens_count));
  std::iota(group.begin(), group.end(), 0);
  for (std::size_t i = 0; i < ties.size(); ++i) {
    if (inlier[i] == 0) continue;
    for (const TieSight& sight : ties[i].sights) {
      const int from = group[static_cast<std::size_t>(sight.lens)];
      const int to = group[static_cast<std::size_t>(ties[i].sights[0].lens)];
      std::replace(group.begin(), group.end(), from, to);
    }
  }
  return group;
}

}  // namespace

std::optional<Error> check_support(int lens_count, std::span<const Tie> ties,
                                   std::span<const char> inlier, int minimum_ties) {
  const auto count = static_cast<int>(std::count(inlier.begin(), inlier.end(), 1));
  if (count < minimum_ties) {
    return Error{.kind = ErrorKind::numeric,
                 .where = {},
                 .field = "ties",
                 .what = fmt::format("{} usable of {} found, {} are needed", count, ties.size(),
                                     minimum_ties),
                 .remedy =
                     "use shots with more texture where the lenses overlap, and check that "
                     "the frames belong together"};
  }
  const std::vector<int> group = lens_groups(lens_count, ties, inlier);
  for (int lens = 1; lens < lens_count; ++lens) {
    if (group[static_cast<std::size_t>(lens)] == group[0]) continue;
    return Error{.kind = ErrorKind::numeric,
                 .where = {},
                 .field = "ties",
                 .what = fmt::format("none connect lens {} to lens 0", lens),
                 .remedy = "check the order of the frames and that the lenses overlap"};
  }
  return std::nullopt;
}

std::vector<TieMisfit> fits_of(const AdjustResult& result, std::span<const Tie> ties) {
  std::vector<TieMisfit> fits(ties.size());
  for (std::size_t i = 0; i < ties.size(); ++i) {
    fits[i].freedom = std::max(1, 2 * static_cast<int>(ties[i].sights.size()) - 3);
    if (!result.points[i].usable) continue;
    fits[i].chi2 = tie_chi2(result.rig, ties[i], result.points[i], result.shots);
    fits[i].counted = std::isfinite(fits[i].chi2);
  }
  return fits;
}

// Wilson & Hilferty: the cube root of χ²/k is nearly Gaussian.
bool is_inlier(const TieMisfit& fit, double sigmas, double ratio) {
  if (!fit.counted) return false;
  if (fit.freedom == 1) return fit.chi2 <= std::pow(sigmas * ratio, 2);
  const double spread = 2.0 / (9.0 * fit.freedom);
  const double limit = fit.freedom * std::pow(1 - spread + sigmas * std::sqrt(spread), 3);
  return fit.chi2 <= limit * ratio * ratio;
}

double median_chi2_per_freedom(int freedom) {
  if (freedom == 1) return 0.454936;
  return std::pow(1 - 2.0 / (9.0 * freedom), 3);
}

}  // namespace seamwright
