#include "tests/features/tie_check.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <Eigen/LU>
#include <fmt/format.h>

#include "projection/ribbon.h"

namespace seamwright::test {

namespace {

constexpr double kMedianOfChi2 = 1.3862943611198906;  // 2 ln 2, two degrees of freedom

struct Truth {
  Vec2 px;
  Mat2 slope;  // d px_b / d px_a on a sphere of the point's distance
};

std::optional<Truth> nearest_truth(const Partner& partner, const TieSight& a, const TieSight& b) {
  std::optional<Truth> best;
  for (const double dv : {0.0, -2.0, 2.0}) {
    for (const double du : {0.0, -2.0, 2.0}) {
      const Vec2 depth_px = a.px + Vec2(du, dv);
      constexpr double kStep = 0.25;
      const auto here = partner(a.lens, b.lens, a.px, depth_px);
      const auto right = partner(a.lens, b.lens, a.px + Vec2(kStep, 0), depth_px);
      const auto down = partner(a.lens, b.lens, a.px + Vec2(0, kStep), depth_px);
      if (!here || !right || !down) continue;
      if (best && (*here - b.px).norm() >= (best->px - b.px).norm()) continue;
      best = Truth{*here, Mat2::Zero()};
      best->slope << (*right - *here) / kStep, (*down - *here) / kStep;
    }
  }
  return best;
}

}  // namespace

TieCheck check_ties(std::span<const Tie> ties, const Rig& rig, const Partner& partner,
                    const std::function<bool(std::size_t)>& choose) {
  TieCheck check;
  std::vector<double> chi2;
  double sideways2 = 0;
  double parallax2 = 0;
  for (std::size_t i = 0; i < ties.size(); ++i) {
    if (choose && !choose(i)) continue;
    const TieSight& a = ties[i].sights[0];
    const TieSight& b = ties[i].sights[1];
    ++check.ties;
    const auto truth = nearest_truth(partner, a, b);
    if (!truth) {
      ++check.outliers;
      continue;
    }
    const Mat2 covariance =
        b.covariance_px2 + truth->slope * a.covariance_px2 * truth->slope.transpose();
    const Vec2 error = b.px - truth->px;
    const double q = error.dot(covariance.inverse() * error);
    if (error.norm() > 2 && q > 25) {
      ++check.outliers;
      continue;
    }
    const MountedLens& lens = rig.lenses[static_cast<std::size_t>(b.lens)];
    const RibbonAxes axes = RibbonAxes::of_pair(rig, a.lens, b.lens);
    const Vec3 d = *lens.direction_in_rig(b.px);
    const Vec2 ahead =
        *lens.project_direction((d + 1e-4 * axes.sideways(axes.angles(d))).normalized());
    const Vec2 sideways = (ahead - b.px).normalized();
    const Vec2 parallax(-sideways.y(), sideways.x());
    sideways2 += std::pow(error.dot(sideways), 2);
    parallax2 += std::pow(error.dot(parallax), 2);
    check.sideways_chi2 += std::pow(error.dot(sideways), 2) / sideways.dot(covariance * sideways);
    check.parallax_chi2 += std::pow(error.dot(parallax), 2) / parallax.dot(covariance * parallax);
    check.chi2 += q / 2;
    chi2.push_back(q);
  }
  if (chi2.empty()) return check;
  const auto n = static_cast<double>(chi2.size());
  check.sideways_rms_px = std::sqrt(sideways2 / n);
  check.parallax_rms_px = std::sqrt(parallax2 / n);
  check.sideways_chi2 /= n;
  check.parallax_chi2 /= n;
  check.chi2 /= n;
  std::nth_element(chi2.begin(), chi2.begin() + static_cast<std::ptrdiff_t>(chi2.size() / 2),
                   chi2.end());
  check.chi2_median = chi2[chi2.size() / 2] / kMedianOfChi2;
  return check;
}

std::string TieCheck::line() const {
  return fmt::format(
      "{} ties, {} outliers, sideways {:.3f} px (chi2 {:.2f}), parallax {:.3f} px (chi2 {:.2f}), "
      "joint "
      "chi2 {:.2f}, by median {:.2f}",
      ties, outliers, sideways_rms_px, sideways_chi2, parallax_rms_px, parallax_chi2, chi2,
      chi2_median);
}

}  // namespace seamwright::test
