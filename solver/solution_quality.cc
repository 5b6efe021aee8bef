#include "solver/solution_quality.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "solver/seam_error.h"

namespace seamwright {

SolutionQuality quality_of(const AdjustResult& result, std::span<const Tie> ties, int shots,
                           std::span<const char> inlier, double spread) {
  SolutionQuality quality;
  quality.shots = shots;
  quality.residual_spread = spread;
  double sum = 0;
  double coordinates = 0;
  for (std::size_t i = 0; i < ties.size(); ++i) {
    if (inlier[i] == 0) {
      ++quality.ties_rejected;
      continue;
    }
    ++quality.ties;
    for (std::size_t j = 0; j < ties[i].sights.size(); ++j) {
      const auto residual =
          sight_residual_px(result.rig, ties[i], j, result.points[i], result.shots);
      if (!residual) continue;
      sum += residual->squaredNorm();
      coordinates += 2;
      quality.max_px = std::max(quality.max_px, residual->norm());
    }
  }
  quality.rms_px = coordinates > 0 ? std::sqrt(sum / coordinates) : 0;
  quality.inlier_share =
      ties.empty() ? 0 : static_cast<double>(quality.ties) / static_cast<double>(ties.size());
  return quality;
}

std::optional<Error> add_expected_seam(const SharedTerms& terms, RigSolution& solution) {
  std::vector<SeamSample> all;
  for (int a = 0; a < solution.rig.lens_count(); ++a) {
    for (int b = a + 1; b < solution.rig.lens_count(); ++b) {
      const auto directions = seam_directions(solution.rig, a, b);
      const auto samples =
          expected_seam_error(solution.rig, terms, solution.covariance.values, a, b, directions);
      all.insert(all.end(), samples.begin(), samples.end());
    }
  }
  const auto summary = summarise(all);
  if (!summary) return summary.error();
  solution.quality.expected_seam_parallax_px = summary->parallax_rms_px;
  solution.quality.expected_seam_sideways_px = summary->sideways_rms_px;
  return std::nullopt;
}

}  // namespace seamwright
