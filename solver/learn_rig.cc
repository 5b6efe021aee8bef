#include "solver/learn_rig.h"

#include <algorithm>
#include <cmath>

#include "solver/inliers.h"
#include "solver/learned_noise.h"
#include "solver/lone_shots.h"
#include "solver/solution_quality.h"
#include "solver/term_selection.h"

namespace seamwright {

namespace {

// Robust and stiff first, then everything free while outliers leave, then to the end. Nobody asks
// the first three for more than a place to go on from.
std::vector<AdjustOptions> rounds_of(const LearnRigOptions& options, double ties_per_shot,
                                     int shots) {
  AdjustOptions round{.max_iterations = 100, .cost_tolerance = 1e-6, .free_flex = shots > 1};
  // A network knows the lenses' angles. There the floor would only do harm: of many ties that look
  // far, as a yard's do, half stand behind infinity by their noise alone, and pushed back in front
  // of it they would push the angles with a certainty that no tie of them has.
  if (ties_per_shot > 0) {
    round.depth_floor_sigma_per_m = options.depth_floor_sigma_per_m;
    round.depth_lean_per_m = options.depth_lean_per_m * std::max(1.0, ties_per_shot);
  }
  AdjustOptions first = round;
  // While the place is looked for, no point may hide behind infinity.
  first.depth_floor_sigma_per_m = options.depth_floor_sigma_per_m;
  first.cost_tolerance = 1e-4;
  first.with_covariance = false;
  first.free_flex = false;
  first.robust_scale = 30;  // far from the answer, an honest tie may look like an outlier
  AdjustOptions second = first;
  second.free_flex = round.free_flex;
  second.robust_scale = 10;
  AdjustOptions last = round;
  last.cost_tolerance = 1e-9;
  last.with_shared_noise = true;
  round.with_covariance = ties_per_shot == 0;  // of flex, which is asked for in networks
  round.cost_tolerance = 1e-5;  // of some thousand sigmas squared: no tie is judged otherwise
  return {first, first, second, round, round, last};
}

bool looks_for_a_place(const AdjustOptions& round) { return round.robust_scale > 3; }

// Some thousands of the ring ties in use, evenly taken: enough to find the place from which all of
// them go on. Tracks stay, because they hold the stands together.
std::vector<char> thinned(std::span<const Tie> ties, std::vector<char> use) {
  constexpr std::size_t kEnough = 4000;
  std::vector<std::size_t> ring;
  for (std::size_t i = 0; i < ties.size(); ++i) {
    if (use[i] != 0 && !is_track(ties[i])) ring.push_back(i);
  }
  const std::size_t every = std::max<std::size_t>(1, ring.size() / kEnough);
  for (std::size_t k = 0; k < ring.size(); ++k) {
    if (k % every != 0) use[ring[k]] = 0;
  }
  return use;
}

// In the first round radial, affine, decentring and travel terms stay where they start while
// rotation, focal length and centre find their place.
bool is_late(int slot) { return (slot >= kRadial1 && slot < kRotationX) || slot == kPupilTravel; }

// The rig's centre goes to the mean pupil, where a panorama is seen from; points and places follow.
void recentre(AdjustResult& fit, std::span<const Tie> ties) {
  const Vec3 centre = fit.rig.centre();
  for (MountedLens& mounted : fit.rig.lenses) mounted.pupil -= centre;
  for (std::size_t i = 0; i < ties.size(); ++i) {
    TiePoint& point = fit.points[i];
    const Vec3 moved = point.direction - point.inverse_depth * centre;
    point.direction = moved.normalized();
    point.inverse_depth /= moved.norm();
  }
  // The first shot of a network, which is not turned, stays at the origin.
  for (ShotState& shot : fit.shots) {
    shot.pose.position += shot.pose.world_from_rig * centre - centre;
  }
}

// A prior on some columns when the others stay at its reference.
SharedPrior restricted(const SharedPrior& prior, const std::vector<int>& columns) {
  return {prior.reference, prior.information(columns, columns)};
}

class RigLearner {
 public:
  RigLearner(const SharedPrior& prior, std::span<const Tie> ties, const LearnRigOptions& options,
             const ProgressFn& progress)
      : prior_(prior),
        ties_(ties.begin(), ties.end()),
        claimed_(ties),
        lines_(options.lines),
        options_(options),
        progress_(progress) {}

  Result<LearnRigResult> run(const Rig& start, std::vector<ShotState> shots) {
    const int lens_count = start.lens_count();
    const LoneShots lone(shots, ties_);
    set_terms(lens_count, !lone.are_all());
    for (const Tie& tie : ties_) {
      inlier_.push_back(static_cast<char>(locate_tie(start, tie, true, shots).usable));
    }
    if (auto error = check_support(lens_count, ties_, inlier_, options_.minimum_ties)) {
      return fail(std::move(*error));
    }
    const std::vector<DepthPrior> priors = floor_priors(start, ties_, lone, options_);
    flex_sigma_rad_ = options_.flex_start_sigma_rad;
    fit_.rig = start;
    fit_.shots = std::move(shots);
    const std::vector<AdjustOptions> rounds =
        rounds_of(options_, lone.ties_per_shot(), static_cast<int>(fit_.shots.size()));
    for (std::size_t round = 0; round < rounds.size(); ++round) {
      AdjustOptions adjusting = rounds[round];
      adjusting.depth_priors = priors;
      // Lines ask for the right curve: while that is held, they would pull at the wrong terms.
      curves_free_ = round > 0;
      if (!solve_round(round, adjusting))
        return fail({.kind = ErrorKind::cancelled, .what = "stopped"});
      if (round + 1 == rounds.size()) return finished(adjusting, lone);
      if (looks_for_a_place(rounds[round])) continue;
      judge(lone);
      if (auto error = check_support(lens_count, ties_, inlier_, options_.minimum_ties)) {
        return fail(std::move(*error));
      }
    }
    return fail({.kind = ErrorKind::numeric, .field = "rounds", .what = "none"});
  }

 private:
  // The pupils' travel is free where a network tells it, and the prior knows of it.
  void set_terms(int lens_count, bool networks) {
    const SharedTerms with_travel = all_rig_terms_and_travel(lens_count);
    result_.terms = all_rig_terms(lens_count);
    if (prior_.information.rows() != with_travel.columns()) return;
    if (networks) {
      result_.terms = with_travel;
      return;
    }
    std::vector<int> columns;
    for (int c = 0; c < with_travel.columns(); ++c) {
      if (with_travel.slot_of(c) != kPupilTravel) columns.push_back(c);
    }
    prior_ = restricted(prior_, columns);
  }

  // False when it was stopped.
  bool solve(const SharedPrior& prior, const SharedTerms& terms, AdjustOptions adjusting) {
    adjusting.flex_sigma_rad = flex_sigma_rad_;
    if (curves_free_) adjusting.lines = lines_.used();
    const std::vector<char> use = looks_for_a_place(adjusting) ? thinned(ties_, inlier_) : inlier_;
    fit_ = adjust({fit_.rig, ties_, fit_.shots, terms, prior, use}, adjusting, progress_);
    return fit_.stop != StopReason::cancelled;
  }

  // The pupils' travel waits until the place is found. Far from there it can turn the baseline
  // round at the rim, where the lenses meet: everything then fits from behind infinity.
  bool solve_round(std::size_t round, const AdjustOptions& adjusting) {
    if (round == 0) return solve_without(is_late, adjusting);
    if (!looks_for_a_place(adjusting)) return solve(prior_, result_.terms, adjusting);
    return solve_without([](int slot) { return slot == kPupilTravel; }, adjusting);
  }

  template <class Held>
  bool solve_without(const Held& is_held, const AdjustOptions& adjusting) {
    const SharedTerms& all = result_.terms;
    const SharedTerms free(all.lens_count(), [&](int lens, int slot) {
      return all.column(lens, slot) >= 0 && !is_held(slot);
    });
    std::vector<int> columns;
    for (int c = 0; c < all.columns(); ++c) {
      if (!is_held(all.slot_of(c))) columns.push_back(c);
    }
    return solve(restricted(prior_, columns), free, adjusting);
  }

  // How far the farthest things are that a ring saw, nobody can tell: its depths are counted from
  // them. As a scene is about as far from infinity as it is deep, the least deep shot says how
  // much is open. By what that much would move the terms, they are unsure.
  bool widen_by_depth(const AdjustOptions& adjusting, const LoneShots& lone) {
    AdjustOptions nearer = adjusting;
    nearer.depth_floor_per_m = depth_of_least_deep(lone, ties_, inlier_, fit_.points);
    if (nearer.depth_floor_per_m <= 0) return true;
    nearer.cost_tolerance = 1e-5;
    nearer.with_covariance = false;
    nearer.flex_sigma_rad = flex_sigma_rad_;
    nearer.lines = lines_.used();
    const AdjustResult moved =
        adjust({fit_.rig, ties_, fit_.shots, result_.terms, prior_, inlier_}, nearer, progress_);
    const Eigen::VectorXd open = result_.terms.difference(moved.rig, fit_.rig);
    fit_.covariance += open * open.transpose();
    return moved.stop != StopReason::cancelled;
  }

  // Terms that the data do not support go to their nominal values, and the rest is solved again.
  // How unsure they are stays, and how unsure the places are with them: covariances are those of
  // all terms.
  bool drop_unsupported(const AdjustOptions& adjusting) {
    const SharedTerms& terms = result_.terms;
    const Eigen::MatrixXd covariance = fit_.covariance;
    const std::vector<PoseCovariance> of_places = fit_.pose_covariance;
    const TermSelection selection =
        select_terms(terms, terms.difference(fit_.rig, prior_.reference), covariance);
    if (selection.dropped.empty()) return true;
    const auto is_dropped = [&](int column) {
      return std::binary_search(selection.dropped.begin(), selection.dropped.end(), column);
    };
    const SharedTerms kept(terms.lens_count(), [&](int lens, int slot) {
      const int column = terms.column(lens, slot);
      return column >= 0 && !is_dropped(column);
    });
    std::vector<int> columns;
    const std::vector<std::string> names = terms.names();
    for (int c = 0; c < terms.columns(); ++c) {
      if (!is_dropped(c)) {
        columns.push_back(c);
      } else {
        result_.held_at_nominal.push_back(names[static_cast<std::size_t>(c)]);
      }
    }
    fit_.rig = start_without(selection);
    const bool done = solve(restricted(prior_, columns), kept, adjusting);
    fit_.covariance = covariance;
    fit_.pose_covariance = of_places;
    return done;
  }

  // Where to go on from once terms are dropped. The prior's reference may see less far than the
  // start; ties beyond its field would miss the last solve.
  [[nodiscard]] Rig start_without(const TermSelection& selection) const {
    Rig rig = result_.terms.stepped(prior_.reference, selection.deviation);
    for (std::size_t lens = 0; lens < rig.lenses.size(); ++lens) {
      rig.lenses[lens].lens.theta_max_rad = fit_.rig.lenses[lens].lens.theta_max_rad;
    }
    return rig;
  }

  // Outliers leave, noise and flex get the size that they show. Ties of a shot that stands beside a
  // network claim together what they are worth: nothing else holds against what they share.
  void judge(const LoneShots& lone) {
    std::vector<TieMisfit> fits = fits_of(fit_, ties_);
    for (std::size_t i = 0; i < ties_.size(); ++i) fits[i].chi2 *= lone_effect(i);
    const NoiseRatios ratios(fits, ties_, inlier_, static_cast<int>(fit_.shots.size()));
    for (std::size_t i = 0; i < ties_.size(); ++i) {
      const double ratio = ratios.of(ties_[i]);
      inlier_[i] = static_cast<char>(is_inlier(fits[i], options_.reject_sigmas, ratio));
      for (TieSight& sight : ties_[i].sights) {
        sight.covariance_px2 *= ratio * ratio / lone_effect(i);
      }
    }
    lone_effects_ = lone.effects_beside_networks(fit_, ties_, inlier_);
    for (std::size_t i = 0; i < ties_.size(); ++i) {
      for (TieSight& sight : ties_[i].sights) sight.covariance_px2 *= lone_effect(i);
    }
    lines_.judge(fit_.rig, fit_.line_normals, options_.reject_sigmas);
    flex_sigma_rad_ = learned_flex_sigma(fit_, flex_sigma_rad_);
  }

  double lone_effect(std::size_t tie) const {
    return lone_effects_.empty() ? 1 : lone_effects_[static_cast<std::size_t>(ties_[tie].shot)];
  }

  Result<LearnRigResult> finished(const AdjustOptions& adjusting, const LoneShots& lone) {
    if (fit_.covariance.size() == 0) {
      return fail({.kind = ErrorKind::numeric,
                   .where = {},
                   .field = "ties",
                   .what = "leave the terms undetermined",
                   .remedy = "add shots with ties all around the ring"});
    }
    if (!widen_by_depth(adjusting, lone) || !drop_unsupported(adjusting)) {
      return fail({.kind = ErrorKind::cancelled, .what = "stopped"});
    }
    // What the last solve could not use has no place to be judged at.
    for (std::size_t i = 0; i < ties_.size(); ++i) {
      if (!fit_.points[i].usable) inlier_[i] = 0;
    }
    recentre(fit_, ties_);
    const auto shots = static_cast<int>(fit_.shots.size());
    // Against what the ties themselves claim.
    const auto take = [&](std::size_t i) { return inlier_[i] != 0; };
    const double spread = noise_ratio(fits_of(fit_, claimed_), take);
    RigSolution& solution = result_.solution;
    solution.quality = quality_of(fit_, ties_, shots, inlier_, spread);
    solution.quality.flex_sigma_rad = shots > 1 ? flex_sigma_rad_ : 0;
    solution.rig = fit_.rig;
    solution.covariance = {result_.terms.names(), fit_.covariance};
    if (auto error = add_expected_seam(result_.terms, solution)) return fail(std::move(*error));
    solution.weak = weak_directions(solution.rig, result_.terms, solution.covariance.values, 0.3);
    result_.lines = lines_.quality(fit_.rig, fit_.line_normals);
    result_.points = std::move(fit_.points);
    result_.inlier = std::move(inlier_);
    result_.shots = std::move(fit_.shots);
    result_.pose_covariance = std::move(fit_.pose_covariance);
    result_.stop = fit_.stop;
    result_.iterations = fit_.iterations;
    return std::move(result_);
  }

  SharedPrior prior_;
  std::vector<Tie> ties_;  // with the noise that they show
  std::span<const Tie> claimed_;
  LineEvidence lines_;
  bool curves_free_ = false;
  const LearnRigOptions& options_;
  const ProgressFn& progress_;
  std::vector<char> inlier_;
  std::vector<double> lone_effects_;  // one a shot, 1 but for those beside networks
  double flex_sigma_rad_ = 0;
  AdjustResult fit_;
  LearnRigResult result_;
};

}  // namespace

Result<LearnRigResult> learn_rig(const Rig& start, const SharedPrior& prior,
                                 std::span<const Tie> ties, std::vector<ShotState> shots,
                                 const LearnRigOptions& options, const ProgressFn& progress) {
  return RigLearner(prior, ties, options, progress).run(start, std::move(shots));
}

Result<LearnRigResult> learn_rig(const Rig& start, const SharedPrior& prior,
                                 std::span<const Tie> ties, int shots,
                                 const LearnRigOptions& options, const ProgressFn& progress) {
  return learn_rig(start, prior, ties, std::vector<ShotState>(static_cast<std::size_t>(shots)),
                   options, progress);
}

}  // namespace seamwright
