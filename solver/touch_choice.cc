#include "solver/touch_choice.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>

#include <fmt/format.h>

#include "base/median.h"
#include "solver/inliers.h"
#include "solver/shared_error.h"

namespace seamwright {

namespace {

// With this many automatic ties a single manual one can be told wrong.
constexpr std::size_t kConsensusTies = 12;

std::string tie_name(std::size_t index) { return fmt::format("tie {}", index + 1); }

// They are not as many independent measurements as they are ties.
double shared_by_automatic(const TouchProblem& problem, const Rig& rig,
                           const std::vector<char>& take, double spread) {
  std::vector<RingResidual> residuals;
  for (std::size_t i = 0; i < problem.ties.size(); ++i) {
    if (take[i] == 0) continue;
    const auto met = meet_tie(rig, problem.ties[i], problem.depth);
    if (!met) continue;
    const double sigmas = std::copysign(met->before.sigmas / spread, met->before.sideways_px);
    residuals.push_back({met->lens_a, met->lens_b, met->psi_rad, sigmas});
  }
  return design_effect(residuals, static_cast<int>(problem.ladder.rotations.size()));
}

int most_wrong(std::size_t manual, std::size_t automatic) {
  const auto count = static_cast<int>(manual);
  const int outvoted = automatic >= kConsensusTies ? count : (count - 1) / 2;
  return std::min(outvoted, count > 40 ? 1 : count > 10 ? 2 : 3);  // subsets grow fast
}

}  // namespace

std::optional<Error> meet_ties(const TouchProblem& problem, std::vector<char>& use,
                               TouchResult& result) {
  for (std::size_t i = 0; i < problem.ties.size(); ++i) {
    const bool enough = problem.ties[i].sights.size() >= 2;
    const auto met = enough ? meet_tie(problem.rig, problem.ties[i], problem.depth) : std::nullopt;
    result.ties.push_back(met.value_or(TouchTie{}));
    if (met) continue;
    use[i] = 0;
    if (!problem.is_manual(i)) continue;
    return Error{
        .where = {},
        .field = tie_name(i),
        .what = enough ? "a sight lies outside its lens' field of view" : "has one sight only",
        .remedy = enough ? "set it inside the image circle" : "give the same point in two lenses"};
  }
  return std::nullopt;
}

void reject_automatic(TouchProblem& problem, std::vector<char>& use) {
  std::vector<char> automatic = use;
  for (std::size_t i = 0; i < problem.ties.size(); ++i) {
    if (problem.is_manual(i)) automatic[i] = 0;
  }
  if (std::count(automatic.begin(), automatic.end(), 1) == 0) return;
  const AdjustResult fit = adjust_with(problem, problem.ladder.sigmas_rad.back(), 3.0, automatic);
  std::vector<double> chi2(problem.ties.size(), 0);
  std::vector<double> counted;
  for (std::size_t i = 0; i < problem.ties.size(); ++i) {
    if (automatic[i] == 0) continue;
    const ReducedTie tie = reduced(problem, fit.rig, i);
    chi2[i] = tie.residual.squaredNorm() / static_cast<double>(tie.residual.size());
    counted.push_back(chi2[i]);
  }
  const double spread = std::max(1.0, std::sqrt(median(counted) / median_chi2_per_freedom(1)));
  for (std::size_t i = 0; i < problem.ties.size(); ++i) {
    if (automatic[i] == 0) continue;
    use[i] = chi2[i] <= std::pow(problem.options.reject_sigmas * spread, 2) ? 1 : 0;
    automatic[i] = use[i];
  }
  const double shared = shared_by_automatic(problem, fit.rig, automatic, spread);
  for (std::size_t i = 0; i < problem.ties.size(); ++i) {
    if (problem.is_manual(i)) continue;
    for (TieSight& sight : problem.ties[i].sights) sight.covariance_px2 *= spread * spread * shared;
  }
}

void choose_flex(const TouchProblem& problem, std::vector<char>& use, TouchResult& result) {
  if (std::count(use.begin(), use.end(), 1) == 0) return;
  std::vector<WeighedTie> manual;
  std::vector<std::size_t> index;
  std::vector<ReducedTie> automatic;
  for (std::size_t i = 0; i < problem.ties.size(); ++i) {
    if (use[i] == 0) continue;
    if (problem.is_manual(i)) {
      const double sigma_px = std::sqrt(problem.ties[i].sights[0].covariance_px2.trace());
      manual.push_back({reduced(problem, problem.rig, i), problem.options.wrong_tie_px / sigma_px});
      index.push_back(i);
    } else {
      automatic.push_back(reduced(problem, problem.rig, i));
    }
  }
  const auto count = static_cast<double>(manual.size() + automatic.size());
  EvidenceOptions weighing{.knock_rarity = problem.options.knock_rarity * (1 + 3 / count),
                           .wrong_tie_share = problem.options.wrong_tie_share,
                           .most_wrong = most_wrong(manual.size(), automatic.size())};
  const Evidence evidence = weigh(problem.ladder, manual, automatic, weighing);
  result.flex_rad = evidence.flex_rad;
  for (std::size_t k = 0; k < index.size(); ++k) {
    if (evidence.wrong[k] == 0) continue;
    use[index[k]] = 0;
    result.ties[index[k]].suspect = true;
  }
  constexpr double kCloseCall = 2;
  if (!evidence.rival.empty() && evidence.rival_behind < kCloseCall) {
    for (std::size_t k = 0; k < index.size(); ++k) {
      if (evidence.rival[k] != 0) result.ties[index[k]].rival = true;
    }
  }
  if (manual.size() == 2 && weighing.most_wrong == 0) {
    weighing.most_wrong = 1;
    const Evidence doubt = weigh(problem.ladder, manual, automatic, weighing);
    result.ties_disagree = std::count(doubt.wrong.begin(), doubt.wrong.end(), 1) > 0;
  }
}

}  // namespace seamwright
