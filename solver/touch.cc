#include "solver/touch.h"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

#include "base/median.h"
#include "solver/adjust.h"
#include "solver/inliers.h"
#include "solver/ring_directions.h"
#include "solver/shared_error.h"
#include "solver/symmetric.h"
#include "solver/tie_fit.h"
#include "solver/touch_evidence.h"
#include "solver/touch_words.h"

namespace seamwright {

namespace {

// With this many automatic ties a single manual one can be told wrong.
constexpr std::size_t kConsensusTies = 12;

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

// Carries a covariance that is only semi-definite.
constexpr double kGrain = 1e-12;

std::string tie_name(std::size_t index) { return fmt::format("tie {}", index + 1); }

class Toucher {
 public:
  Toucher(const Rig& rig, const TermCovariance& covariance, double flex_sigma_rad,
          std::span<const Tie> ties, const TouchOptions& options)
      : template_(rig),
        options_(options),
        depth_{options.far_sigma_per_m, options.depth_floor_sigma_per_m},
        terms_(terms_of(covariance, rig.lens_count())),
        ties_(ties.begin(), ties.end()),
        use_(ties.size(), 1) {
    if (!rig.metric) in_baselines();
    constexpr double kLeastFlex_rad = 1e-9;  // the ladder's first step; below, nothing shows
    result_.learned_flex_rad =
        flex_sigma_rad > 0 ? std::max(flex_sigma_rad, kLeastFlex_rad) : options.default_flex_rad;
    result_.flex_rad = result_.learned_flex_rad;
    ladder_ = ladder_of(covariance, terms_, result_.learned_flex_rad, options.most_flex_rad);
    for (Tie& tie : ties_) tie.shot = 0;
  }

  Result<TouchResult> run() {
    if (auto error = look()) return fail(std::move(*error));
    if (!ties_.empty()) {
      if (count_automatic() > 0) depth_.floor_sigma_per_m = 0;
      reject_automatic();
      choose();
    }
    if (auto error = solve()) return fail(std::move(*error));
    judge_step();
    judge_ties();
    if (auto error = judge_seam()) return fail(std::move(*error));
    say_findings(template_, ties_, options_, result_);
    return std::move(result_);
  }

 private:
  // A rig without a scale counts in its own baseline: that of a usual body stands in.
  void in_baselines() {
    constexpr double kUsualBaseline_m = 0.03;
    depth_.far_sigma_per_m *= kUsualBaseline_m;
    depth_.floor_sigma_per_m *= kUsualBaseline_m;
  }

  bool is_manual(std::size_t i) const { return ties_[i].origin == TieOrigin::manual; }

  // "Not behind infinity" is worth much from a few ties of a hand. From hundreds, half of those far
  // away stand there by their noise alone, and together they would push the rig with great
  // certainty: automatic ties tell sideways, and their depths take the parallax part.
  std::size_t count_automatic() const {
    std::size_t count = 0;
    for (std::size_t i = 0; i < ties_.size(); ++i) count += is_manual(i) ? 0U : 1U;
    return count;
  }

  // Meets every tie with the template; a manual one that cannot be met is refused by name.
  std::optional<Error> look() {
    for (std::size_t i = 0; i < ties_.size(); ++i) {
      const bool enough = ties_[i].sights.size() >= 2;
      const auto met = enough ? meet_tie(template_, ties_[i], depth_) : std::nullopt;
      result_.ties.push_back(met.value_or(TouchTie{}));
      if (met) continue;
      use_[i] = 0;
      if (!is_manual(i)) continue;
      return Error{
          .where = {},
          .field = tie_name(i),
          .what = enough ? "a sight lies outside its lens' field of view" : "has one sight only",
          .remedy =
              enough ? "set it inside the image circle" : "give the same point in two lenses"};
    }
    return std::nullopt;
  }

  AdjustOptions adjusting(double robust_scale) const {
    AdjustOptions adjusting{
        .max_iterations = 30, .cost_tolerance = 1e-9, .robust_scale = robust_scale};
    adjusting.far_sigma_per_m = depth_.far_sigma_per_m;
    adjusting.depth_floor_sigma_per_m = depth_.floor_sigma_per_m;
    return adjusting;
  }

  AdjustResult adjust_with(double flex_rad, double robust_scale,
                           const std::vector<char>& use) const {
    const SharedPrior prior{template_, symmetric_inverse(ladder_.prior(flex_rad), kGrain)};
    return adjust(template_, ties_, 1, terms_, prior, adjusting(robust_scale), use);
  }

  ReducedTie reduced(const Rig& rig, std::size_t i) const {
    return reduce_tie(rig, ties_[i], locate_tie(rig, ties_[i], true), terms_, depth_);
  }

  // Automatic ties are judged among themselves, with the body free to have flexed: who disagrees
  // with the many leaves, and the noise they really show is theirs from here on.
  void reject_automatic() {
    std::vector<char> automatic = use_;
    for (std::size_t i = 0; i < ties_.size(); ++i) {
      if (is_manual(i)) automatic[i] = 0;
    }
    if (std::count(automatic.begin(), automatic.end(), 1) == 0) return;
    const AdjustResult fit = adjust_with(ladder_.sigmas_rad.back(), 3.0, automatic);
    std::vector<double> chi2(ties_.size(), 0);
    std::vector<double> counted;
    for (std::size_t i = 0; i < ties_.size(); ++i) {
      if (automatic[i] == 0) continue;
      const ReducedTie tie = reduced(fit.rig, i);
      chi2[i] = tie.residual.squaredNorm() / static_cast<double>(tie.residual.size());
      counted.push_back(chi2[i]);
    }
    const double spread = std::max(1.0, std::sqrt(median(counted) / median_chi2_per_freedom(1)));
    for (std::size_t i = 0; i < ties_.size(); ++i) {
      if (automatic[i] == 0) continue;
      use_[i] = chi2[i] <= std::pow(options_.reject_sigmas * spread, 2) ? 1 : 0;
      automatic[i] = use_[i];
    }
    const double shared = shared_by_automatic(fit.rig, automatic, spread);
    for (std::size_t i = 0; i < ties_.size(); ++i) {
      if (is_manual(i)) continue;
      for (TieSight& sight : ties_[i].sights) sight.covariance_px2 *= spread * spread * shared;
    }
  }

  // They are not as many independent measurements as they are ties.
  double shared_by_automatic(const Rig& rig, const std::vector<char>& take, double spread) const {
    std::vector<RingResidual> residuals;
    for (std::size_t i = 0; i < ties_.size(); ++i) {
      if (take[i] == 0) continue;
      const auto met = meet_tie(rig, ties_[i], depth_);
      if (!met) continue;
      const double sigmas = std::copysign(met->before.sigmas / spread, met->before.sideways_px);
      residuals.push_back({met->lens_a, met->lens_b, met->psi_rad, sigmas});
    }
    return design_effect(residuals, static_cast<int>(ladder_.rotations.size()));
  }

  int most_wrong(std::size_t manual, std::size_t automatic) const {
    const auto count = static_cast<int>(manual);
    const int outvoted = automatic >= kConsensusTies ? count : (count - 1) / 2;
    return std::min(outvoted, count > 40 ? 1 : count > 10 ? 2 : 3);  // subsets grow fast
  }

  // The flex and the wrong ties of touch.h.
  void choose() {
    if (std::count(use_.begin(), use_.end(), 1) == 0) return;
    std::vector<WeighedTie> manual;
    std::vector<std::size_t> index;
    std::vector<ReducedTie> automatic;
    for (std::size_t i = 0; i < ties_.size(); ++i) {
      if (use_[i] == 0) continue;
      if (is_manual(i)) {
        const double sigma_px = std::sqrt(ties_[i].sights[0].covariance_px2.trace());
        manual.push_back({reduced(template_, i), options_.wrong_tie_px / sigma_px});
        index.push_back(i);
      } else {
        automatic.push_back(reduced(template_, i));
      }
    }
    const auto count = static_cast<double>(manual.size() + automatic.size());
    EvidenceOptions weighing{.knock_rarity = options_.knock_rarity * (1 + 3 / count),
                             .wrong_tie_share = options_.wrong_tie_share,
                             .most_wrong = most_wrong(manual.size(), automatic.size())};
    const Evidence evidence = weigh(ladder_, manual, automatic, weighing);
    result_.flex_rad = evidence.flex_rad;
    for (std::size_t k = 0; k < index.size(); ++k) {
      if (evidence.wrong[k] == 0) continue;
      use_[index[k]] = 0;
      result_.ties[index[k]].suspect = true;
    }
    constexpr double kCloseCall = 2;
    if (!evidence.rival.empty() && evidence.rival_behind < kCloseCall) {
      for (std::size_t k = 0; k < index.size(); ++k) {
        if (evidence.rival[k] != 0) result_.ties[index[k]].rival = true;
      }
    }
    if (manual.size() == 2 && weighing.most_wrong == 0) {
      weighing.most_wrong = 1;
      const Evidence doubt = weigh(ladder_, manual, automatic, weighing);
      result_.ties_disagree = std::count(doubt.wrong.begin(), doubt.wrong.end(), 1) > 0;
    }
  }

  std::optional<Error> solve() {
    result_.rig = template_;
    result_.names = terms_.names();
    result_.step = Eigen::VectorXd::Zero(terms_.columns());
    result_.covariance = {result_.names, ladder_.prior(result_.flex_rad)};
    if (std::count(use_.begin(), use_.end(), 1) == 0) return std::nullopt;
    const AdjustResult fit = adjust_with(result_.flex_rad, 0, use_);
    if (!fit.usable() || fit.covariance.size() == 0) {
      return Error{.kind = ErrorKind::numeric,
                   .where = {},
                   .field = "ties",
                   .what = "the solve did not settle",
                   .remedy = "check the ties; remove them one by one"};
    }
    result_.step = terms_.difference(fit.rig, template_);
    // Files hold rotations in degrees: the step is one that they can hold exactly.
    for (const int column : ladder_.rotations) {
      result_.step[column] = rad_from_deg(deg_from_rad(result_.step[column]));
    }
    result_.rig = terms_.stepped(template_, result_.step);
    result_.covariance.values = fit.covariance;
    if (auto error = result_.rig.validate()) {
      error->field = "touched " + error->field;
      error->remedy = "check the ties; remove them one by one";
      return error;
    }
    return std::nullopt;
  }

  void judge_step() {
    const Eigen::MatrixXd known = ladder_.prior(result_.learned_flex_rad);
    result_.moved_sigmas =
        std::sqrt(std::max(0.0, result_.step.dot(symmetric_inverse(known, kGrain) * result_.step)));
    for (Eigen::Index i = 0; i < result_.step.size(); ++i) {
      if (!(known(i, i) > 0)) continue;
      const double sigmas = std::abs(result_.step[i]) / std::sqrt(known(i, i));
      if (sigmas <= result_.worst_term_sigmas) continue;
      result_.worst_term_sigmas = sigmas;
      result_.worst_term = result_.names[static_cast<std::size_t>(i)];
    }
    result_.contradicts_template = result_.moved_sigmas > options_.contradiction_sigmas;
  }

  void judge_ties() {
    for (std::size_t i = 0; i < ties_.size(); ++i) {
      TouchTie& tie = result_.ties[i];
      tie.used = use_[i] != 0;
      const auto met = meet_tie(result_.rig, ties_[i], depth_);
      tie.after = met ? met->before : tie.before;
    }
  }

  // 1σ of every pair's seam with what was known before and after the ties.
  std::optional<Error> judge_seam() {
    std::vector<SeamSample> before;
    std::vector<SeamSample> after;
    std::vector<SeamSample> moved;
    const Eigen::MatrixXd prior = ladder_.prior(result_.flex_rad);
    for (int a = 0; a < template_.lens_count(); ++a) {
      for (int b = a + 1; b < template_.lens_count(); ++b) {
        const auto directions = ring_directions(template_, a, b, 24, 3);
        if (directions.empty()) continue;
        const Eigen::MatrixXd jacobian = seam_jacobian(template_, terms_, a, b, directions);
        const auto pair_before = expected_seam_error(jacobian, prior, directions);
        const auto pair_after =
            expected_seam_error(jacobian, result_.covariance.values, directions);
        const auto pair_moved = moved_by(jacobian, directions);
        add_azimuths(a, b, pair_before, pair_after);
        before.insert(before.end(), pair_before.begin(), pair_before.end());
        after.insert(after.end(), pair_after.begin(), pair_after.end());
        moved.insert(moved.end(), pair_moved.begin(), pair_moved.end());
      }
    }
    for (const auto& [samples, summary] : {std::pair{&before, &result_.seam_before},
                                           {&after, &result_.seam_after},
                                           {&moved, &result_.seam_moved}}) {
      const auto found = summarise(*samples);
      if (!found) return found.error();
      *summary = *found;
    }
    return std::nullopt;
  }

  std::vector<SeamSample> moved_by(const Eigen::MatrixXd& jacobian,
                                   const std::vector<RibbonAngles>& directions) const {
    const Eigen::VectorXd gap = jacobian * result_.step;
    std::vector<SeamSample> samples;
    for (std::size_t i = 0; i < directions.size(); ++i) {
      const auto row = static_cast<Eigen::Index>(2 * i);
      samples.push_back({directions[i], gap[row], gap[row + 1]});
    }
    return samples;
  }

  // Samples of one azimuth stand together; their mean square is the azimuth's.
  void add_azimuths(int a, int b, const std::vector<SeamSample>& before,
                    const std::vector<SeamSample>& after) {
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
      result_.seam.push_back({a, b, before[begin].at.psi_rad, was.parallax_rms_px,
                              was.sideways_rms_px, now.parallax_rms_px, now.sideways_rms_px});
      begin = end;
    }
  }

  const Rig& template_;
  const TouchOptions& options_;
  DepthKnowledge depth_;
  SharedTerms terms_;
  std::vector<Tie> ties_;
  std::vector<char> use_;
  FlexLadder ladder_;
  TouchResult result_;
};

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
  return Toucher(rig, covariance, flex_sigma_rad, ties, options).run();
}

}  // namespace seamwright
