#include "solver/touch_problem.h"

#include <algorithm>
#include <string>

#include <fmt/format.h>

#include "solver/symmetric.h"

namespace seamwright {

namespace {

// Terms that the template knows the spread of, and every rotation that may flex.
SharedTerms terms_of(const TermCovariance& covariance, int lens_count) {
  return SharedTerms(lens_count, [&](int lens, int slot) {
    if (slot >= kRotationX && slot < kPupilX) return true;
    const std::string name = fmt::format("lens{}.{}", lens, slot_name(slot));
    return std::find(covariance.names.begin(), covariance.names.end(), name) !=
           covariance.names.end();
  });
}

// The template's covariance in the order of the terms' columns.
Eigen::MatrixXd ordered(const TermCovariance& covariance, const SharedTerms& terms) {
  const std::vector<std::string> names = terms.names();
  std::vector<Eigen::Index> row_of;
  for (const std::string& name : names) {
    const auto found = std::find(covariance.names.begin(), covariance.names.end(), name);
    row_of.push_back(found == covariance.names.end() ? -1 : found - covariance.names.begin());
  }
  Eigen::MatrixXd values = Eigen::MatrixXd::Zero(terms.columns(), terms.columns());
  for (Eigen::Index i = 0; i < values.rows(); ++i) {
    for (Eigen::Index j = 0; j < values.cols(); ++j) {
      const Eigen::Index a = row_of[static_cast<std::size_t>(i)];
      const Eigen::Index b = row_of[static_cast<std::size_t>(j)];
      if (a >= 0 && b >= 0) values(i, j) = covariance.values(a, b);
    }
  }
  return values;
}

FlexLadder ladder_of(const TermCovariance& covariance, const SharedTerms& terms, double learned_rad,
                     double most_rad) {
  FlexLadder ladder{.covariance = ordered(covariance, terms), .rotations = {}, .sigmas_rad = {}};
  for (int column = 0; column < terms.columns(); ++column) {
    const int slot = terms.slot_of(column);
    if (slot >= kRotationX && slot < kPupilX) ladder.rotations.push_back(column);
  }
  for (double sigma_rad = learned_rad; sigma_rad < most_rad; sigma_rad *= 2) {
    ladder.sigmas_rad.push_back(sigma_rad);
  }
  ladder.sigmas_rad.push_back(std::max(learned_rad, most_rad));
  return ladder;
}

// A rig without a scale counts in its own baseline: that of a usual body stands in.
DepthKnowledge depth_of(const TouchOptions& options, bool metric) {
  constexpr double kUsualBaseline_m = 0.03;
  const double unit_m = metric ? 1 : kUsualBaseline_m;
  return {options.far_sigma_per_m * unit_m, options.depth_floor_sigma_per_m * unit_m};
}

}  // namespace

TouchProblem pose_touch(const Rig& rig, const TermCovariance& covariance, double learned_flex_rad,
                        std::span<const Tie> ties, const TouchOptions& options) {
  const SharedTerms terms = terms_of(covariance, rig.lens_count());
  TouchProblem problem{
      .rig = rig,
      .options = options,
      .depth = depth_of(options, rig.metric),
      .terms = terms,
      .ties = {ties.begin(), ties.end()},
      .ladder = ladder_of(covariance, terms, learned_flex_rad, options.most_flex_rad)};
  for (Tie& tie : problem.ties) tie.shot = 0;
  return problem;
}

AdjustResult adjust_with(const TouchProblem& problem, double flex_rad, double robust_scale,
                         const std::vector<char>& use) {
  const SharedPrior prior{problem.rig,
                          symmetric_inverse(problem.ladder.prior(flex_rad), kCovarianceGrain)};
  AdjustOptions options{.max_iterations = 30, .cost_tolerance = 1e-9, .robust_scale = robust_scale};
  options.far_sigma_per_m = problem.depth.far_sigma_per_m;
  options.depth_floor_sigma_per_m = problem.depth.floor_sigma_per_m;
  return adjust({.start = problem.rig,
                 .ties = problem.ties,
                 .shots = std::vector<ShotState>(1),
                 .terms = problem.terms,
                 .prior = prior,
                 .use = use},
                options);
}

ReducedTie reduced(const TouchProblem& problem, const Rig& rig, std::size_t tie) {
  const Tie& of = problem.ties[tie];
  return reduce_tie(rig, of, locate_tie(rig, of, true), problem.terms, problem.depth);
}

}  // namespace seamwright
