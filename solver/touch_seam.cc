#include "solver/touch_seam.h"

#include <cstddef>
#include <utility>
#include <vector>

#include "solver/ring_directions.h"
#include "solver/shared_error.h"

namespace seamwright {

namespace {

std::vector<SeamSample> moved_by(const Eigen::VectorXd& step, const Eigen::MatrixXd& jacobian,
                                 const std::vector<RibbonAngles>& directions) {
  const Eigen::VectorXd gap = jacobian * step;
  std::vector<SeamSample> samples;
  for (std::size_t i = 0; i < directions.size(); ++i) {
    const auto row = static_cast<Eigen::Index>(2 * i);
    samples.push_back({directions[i], gap[row], gap[row + 1]});
  }
  return samples;
}

// Samples of one azimuth stand together; their mean square is the azimuth's.
void add_azimuths(std::pair<int, int> lenses, const std::vector<SeamSample>& before,
                  const std::vector<SeamSample>& after, std::vector<TouchSeam>& seam) {
  std::size_t begin = 0;
  while (begin < before.size()) {
    std::size_t end = begin + 1;
    while (end < before.size() && before[end].at.psi_rad == before[begin].at.psi_rad) ++end;
    const auto part = [&](const std::vector<SeamSample>& all) {
      return *summarise({all.begin() + static_cast<std::ptrdiff_t>(begin),
                         all.begin() + static_cast<std::ptrdiff_t>(end)});
    };
    const SeamSummary was = part(before);
    const SeamSummary now = part(after);
    seam.push_back({lenses.first, lenses.second, before[begin].at.psi_rad, was.parallax_rms_px,
                    was.sideways_rms_px, now.parallax_rms_px, now.sideways_rms_px});
    begin = end;
  }
}

}  // namespace

std::optional<Error> judge_seam(const TouchProblem& problem, TouchResult& result) {
  std::vector<SeamSample> before;
  std::vector<SeamSample> after;
  std::vector<SeamSample> moved;
  const Eigen::MatrixXd prior = problem.ladder.prior(result.flex_rad);
  for (int a = 0; a < problem.rig.lens_count(); ++a) {
    for (int b = a + 1; b < problem.rig.lens_count(); ++b) {
      const auto directions = ring_directions(problem.rig, a, b, 24, 3);
      if (directions.empty()) continue;
      const Eigen::MatrixXd jacobian = seam_jacobian(problem.rig, problem.terms, a, b, directions);
      const auto pair_before = expected_seam_error(jacobian, prior, directions);
      const auto pair_after = expected_seam_error(jacobian, result.covariance.values, directions);
      const auto pair_moved = moved_by(result.step, jacobian, directions);
      add_azimuths({a, b}, pair_before, pair_after, result.seam);
      before.insert(before.end(), pair_before.begin(), pair_before.end());
      after.insert(after.end(), pair_after.begin(), pair_after.end());
      moved.insert(moved.end(), pair_moved.begin(), pair_moved.end());
    }
  }
  for (const auto& [samples, summary] : {std::pair{&before, &result.seam_before},
                                         {&after, &result.seam_after},
                                         {&moved, &result.seam_moved}}) {
    const auto found = summarise(*samples);
    if (!found) return found.error();
    *summary = *found;
  }
  return std::nullopt;
}

}  // namespace seamwright
