#include "solver/touch.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>

#include "solver/symmetric.h"
#include "solver/touch_choice.h"
#include "solver/touch_problem.h"
#include "solver/touch_seam.h"
#include "solver/touch_words.h"

namespace seamwright {

namespace {

constexpr double kLeastFlex_rad = 1e-9;  // the ladder's first step; below, nothing shows

// "Not behind infinity" is worth much from a few ties of a hand. From hundreds, half of those far
// away stand there by their noise alone, and together they would push the rig with great
// certainty: automatic ties tell sideways, and their depths take the parallax part.
bool has_automatic(std::span<const Tie> ties) {
  return std::any_of(ties.begin(), ties.end(),
                     [](const Tie& tie) { return tie.origin != TieOrigin::manual; });
}

std::optional<Error> solve(const TouchProblem& problem, const std::vector<char>& use,
                           TouchResult& result) {
  result.rig = problem.rig;
  result.names = problem.terms.names();
  result.step = Eigen::VectorXd::Zero(problem.terms.columns());
  result.covariance = {result.names, problem.ladder.prior(result.flex_rad)};
  if (std::count(use.begin(), use.end(), 1) == 0) return std::nullopt;
  const AdjustResult fit = adjust_with(problem, result.flex_rad, 0, use);
  if (!fit.usable() || fit.covariance.size() == 0) {
    return Error{.kind = ErrorKind::numeric,
                 .where = {},
                 .field = "ties",
                 .what = "the solve did not settle",
                 .remedy = "check the ties; remove them one by one"};
  }
  result.step = problem.terms.difference(fit.rig, problem.rig);
  // Files hold rotations in degrees: the step is one that they can hold exactly.
  for (const int column : problem.ladder.rotations) {
    result.step[column] = rad_from_deg(deg_from_rad(result.step[column]));
  }
  result.rig = problem.terms.stepped(problem.rig, result.step);
  result.covariance.values = fit.covariance;
  if (auto error = result.rig.validate()) {
    error->field = "touched " + error->field;
    error->remedy = "check the ties; remove them one by one";
    return error;
  }
  return std::nullopt;
}

void judge_step(const TouchProblem& problem, TouchResult& result) {
  const Eigen::MatrixXd known = problem.ladder.prior(result.learned_flex_rad);
  result.moved_sigmas = std::sqrt(
      std::max(0.0, result.step.dot(symmetric_inverse(known, kCovarianceGrain) * result.step)));
  for (Eigen::Index i = 0; i < result.step.size(); ++i) {
    if (!(known(i, i) > 0)) continue;
    const double sigmas = std::abs(result.step[i]) / std::sqrt(known(i, i));
    if (sigmas <= result.worst_term_sigmas) continue;
    result.worst_term_sigmas = sigmas;
    result.worst_term = result.names[static_cast<std::size_t>(i)];
  }
  result.contradicts_template = result.moved_sigmas > problem.options.contradiction_sigmas;
}

void judge_ties(const TouchProblem& problem, const std::vector<char>& use, TouchResult& result) {
  for (std::size_t i = 0; i < problem.ties.size(); ++i) {
    TouchTie& tie = result.ties[i];
    tie.used = use[i] != 0;
    const auto met = meet_tie(result.rig, problem.ties[i], problem.depth);
    tie.after = met ? met->before : tie.before;
  }
}

}  // namespace

Result<TouchResult> touch(const Rig& rig, const TermCovariance& covariance, double flex_sigma_rad,
                          std::span<const Tie> ties, const TouchOptions& options) {
  // Squares of what is no possible spread would be infinite, and every likelihood undefined.
  constexpr double kMost = 1e100;
  if (!(std::abs(flex_sigma_rad) <= kMost) || !(covariance.values.array().abs() <= kMost).all()) {
    return fail({.kind = ErrorKind::numeric,
                 .where = {},
                 .field = "template",
                 .what = "its covariance or flex is not a possible one",
                 .remedy = "restore the template as it was learned"});
  }
  TouchResult result;
  result.learned_flex_rad =
      flex_sigma_rad > 0 ? std::max(flex_sigma_rad, kLeastFlex_rad) : options.default_flex_rad;
  result.flex_rad = result.learned_flex_rad;
  TouchProblem problem = pose_touch(rig, covariance, result.learned_flex_rad, ties, options);
  std::vector<char> use(ties.size(), 1);
  if (auto error = meet_ties(problem, use, result)) return fail(std::move(*error));
  if (!ties.empty()) {
    if (has_automatic(ties)) problem.depth.floor_sigma_per_m = 0;
    reject_automatic(problem, use);
    choose_flex(problem, use, result);
  }
  if (auto error = solve(problem, use, result)) return fail(std::move(*error));
  judge_step(problem, result);
  judge_ties(problem, use, result);
  if (auto error = judge_seam(problem, result)) return fail(std::move(*error));
  say_findings(rig, problem.ties, options, result);
  return result;
}

}  // namespace seamwright
