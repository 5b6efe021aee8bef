#include "solver/learn_rig.h"

#include <algorithm>
#include <cmath>
#include <numeric>

#include <fmt/format.h>

#include "solver/seam_error.h"

namespace seamwright {

namespace {

// Median of χ² with one degree of freedom (Abramowitz & Stegun, table 26.8).
constexpr double kMedianChi2OneDof = 0.454936;

double median(std::vector<double> values) {
  if (values.empty()) return 0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

std::span<const Vec3> flex_of_shot(const AdjustResult& result, int shot) {
  if (result.flex.empty()) return {};
  return result.flex[static_cast<std::size_t>(shot)];
}

// χ² per degree of freedom of every tie; infinite where it does not count.
std::vector<double> fits(const AdjustResult& result, std::span<const Tie> ties) {
  std::vector<double> fit(ties.size(), std::numeric_limits<double>::infinity());
  for (std::size_t i = 0; i < ties.size(); ++i) {
    if (!result.points[i].usable) continue;
    const auto freedom = static_cast<double>(2 * ties[i].sights.size()) - 3.0;
    fit[i] = tie_chi2(result.rig, ties[i], result.points[i], flex_of_shot(result, ties[i].shot)) /
             freedom;
  }
  return fit;
}

// Robust σ of whitened residuals: 1 when the ties' covariances are right.
double spread_of(const std::vector<double>& fit, std::span<const char> inlier) {
  std::vector<double> counted;
  for (std::size_t i = 0; i < fit.size(); ++i) {
    if (inlier[i] != 0 && std::isfinite(fit[i])) counted.push_back(fit[i]);
  }
  return std::sqrt(median(std::move(counted)) / kMedianChi2OneDof);
}

// A tie leaves when it fits worse than the limit, but the limit follows the real noise level.
std::vector<char> judge(const std::vector<double>& fit, double spread, double reject_sigmas) {
  const double limit = std::pow(reject_sigmas * std::max(1.0, spread), 2);
  std::vector<char> inlier(fit.size());
  std::transform(fit.begin(), fit.end(), inlier.begin(),
                 [&](double f) { return static_cast<char>(f <= limit); });
  return inlier;
}

// The flex about the ribbon's pole is the only part that a ring measures apart from depth: its
// spread stands for all three axes.
double learned_flex_sigma(const AdjustResult& result, double current_sigma_rad) {
  constexpr double kFloor_rad = 2e-5;
  constexpr double kCeiling_rad = 2e-3;
  if (result.flex.size() < 3) return current_sigma_rad;
  double sum = 0;
  double count = 0;
  for (const auto& shot : result.flex) {
    for (std::size_t lens = 1; lens < shot.size(); ++lens) {
      const RibbonAxes axes = RibbonAxes::of_pair(result.rig, 0, static_cast<int>(lens));
      sum += std::pow(shot[lens].dot(axes.pole()), 2);
      count += 1;
    }
  }
  return std::clamp(std::sqrt(sum / count), kFloor_rad, kCeiling_rad);
}

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
      const auto residual = sight_residual_px(result.rig, ties[i], j, result.points[i],
                                              flex_of_shot(result, ties[i].shot));
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

// RMS of the expected seam error over all pairs of lenses that overlap.
void add_expected_seam(const SharedTerms& terms, RigSolution& solution) {
  std::vector<SeamSample> all;
  for (int a = 0; a < solution.rig.lens_count(); ++a) {
    for (int b = a + 1; b < solution.rig.lens_count(); ++b) {
      const auto directions = seam_directions(solution.rig, a, b);
      const auto samples =
          expected_seam_error(solution.rig, terms, solution.covariance.values, a, b, directions);
      all.insert(all.end(), samples.begin(), samples.end());
    }
  }
  const SeamSummary summary = summarise(all);
  solution.quality.expected_seam_along_px = summary.along_rms_px;
  solution.quality.expected_seam_across_px = summary.across_rms_px;
}

// Robust and stiff first, then everything free while outliers leave, then to the end.
std::vector<AdjustOptions> rounds_of(const LearnRigOptions& options, double ties_per_shot,
                                     int shots) {
  AdjustOptions round{.max_iterations = 100, .cost_tolerance = 1e-6, .free_flex = shots > 1};
  round.depth_floor_sigma_per_m = options.depth_floor_sigma_per_m;
  round.depth_lean_per_m = options.depth_lean_per_m * std::max(1.0, ties_per_shot);
  AdjustOptions first = round;
  first.free_flex = false;
  first.robust_scale = 30;  // far from the answer, an honest tie may look like an outlier
  AdjustOptions second = round;
  second.robust_scale = 10;
  AdjustOptions last = round;
  last.cost_tolerance = 1e-9;
  return {first, first, second, round, round, last};
}

// The prior of the first round: radial, affine and decentring terms stay put while rotation, focal
// length and centre find their place.
SharedPrior stiff(SharedPrior prior, const SharedTerms& terms) {
  constexpr double kStiffness = 1e6;
  for (int column = 0; column < terms.columns(); ++column) {
    const int slot = terms.slot_of(column);
    if (slot >= kRadial1 && slot < kRotationX) prior.information(column, column) *= kStiffness;
  }
  return prior;
}

// The rig's centre goes to the mean pupil, where a panorama is seen from.
void recentre(Rig& rig) {
  const Vec3 centre = rig.centre();
  for (MountedLens& mounted : rig.lenses) mounted.pupil -= centre;
}

// One term of all lenses near their common mean. Called once a lens, so each pair counts half.
void hold_together(const SharedTerms& terms, int slot, double sigma, Eigen::MatrixXd& information) {
  const double strength = 0.5 / (sigma * sigma * terms.lens_count());
  for (int a = 0; a < terms.lens_count(); ++a) {
    for (int b = 0; b < terms.lens_count(); ++b) {
      if (a == b) continue;
      information(terms.column(a, slot), terms.column(a, slot)) += 0.5 * strength;
      information(terms.column(b, slot), terms.column(b, slot)) += 0.5 * strength;
      information(terms.column(a, slot), terms.column(b, slot)) -= strength;
    }
  }
}

// The floor below the stand, for ties within 35° of straight down.
std::vector<DepthPrior> floor_priors(const Rig& rig, std::span<const Tie> ties, int shots,
                                     const LearnRigOptions& options) {
  std::vector<DepthPrior> priors;
  if (options.stand_sigma_per_m <= 0) return priors;
  priors.resize(ties.size());
  constexpr double kLeastDown = 0.82;
  int count = 0;
  for (std::size_t i = 0; i < ties.size(); ++i) {
    const TiePoint point = locate_tie(rig, ties[i], false);
    if (!point.usable || point.direction.y() < kLeastDown) continue;
    priors[i] = {point.direction.y() / options.stand_height_m, options.stand_sigma_per_m, 1};
    ++count;
  }
  // The height is one unknown a stand, not one a tie.
  for (DepthPrior& prior : priors)
    prior.weight *= shots / std::max(1.0, static_cast<double>(count));
  return priors;
}

}  // namespace

SharedTerms all_rig_terms(int lens_count) {
  return SharedTerms(lens_count, [](int, int) { return true; });
}

SharedPrior prior_of(const BodySpread& spread, const Rig& nominal, const SharedTerms& terms) {
  SharedPrior prior{nominal, Eigen::MatrixXd::Zero(terms.columns(), terms.columns())};
  for (int column = 0; column < terms.columns(); ++column) {
    const Lens& lens = nominal.lenses[static_cast<std::size_t>(terms.lens_of(column))].lens;
    const int slot = terms.slot_of(column);
    double sigma = 0;
    if (slot == kFocal) {
      sigma = spread.focal_share * lens.terms[kFocal];
    } else if (slot == kCentreU || slot == kCentreV) {
      sigma = spread.centre_share * lens.width_px;
    } else if (slot <= kRadial4) {
      sigma = spread.radial[slot - kRadial1];
    } else if (slot <= kShear) {
      sigma = spread.affine;
    } else if (slot < kRotationX) {
      sigma = spread.decentring;
    } else {
      sigma = slot < kPupilX ? spread.rotation_rad : spread.pupil_m;
    }
    prior.information(column, column) += 1.0 / (sigma * sigma);
    if (slot == kFocal || (slot >= kRadial1 && slot <= kRadial4)) {
      hold_together(terms, slot, spread.piece_share * sigma, prior.information);
    }
  }
  return prior;
}

Result<LearnRigResult> learn_rig(const Rig& start, const SharedPrior& prior,
                                 std::span<const Tie> ties, int shots,
                                 const LearnRigOptions& options, const ProgressFn& progress) {
  const int lens_count = start.lens_count();
  LearnRigResult result;
  result.terms = all_rig_terms(lens_count);
  std::vector<char> inlier(ties.size(), 1);
  for (std::size_t i = 0; i < ties.size(); ++i) {
    inlier[i] = static_cast<char>(locate_tie(start, ties[i], true).usable);
  }
  if (auto error = check_support(lens_count, ties, inlier, options.minimum_ties)) {
    return fail(std::move(*error));
  }

  AdjustResult fit;
  fit.rig = start;
  double spread = 1;
  double flex_sigma_rad = options.flex_start_sigma_rad;
  const std::vector<AdjustOptions> rounds =
      rounds_of(options, static_cast<double>(ties.size()) / std::max(1, shots), shots);
  const std::vector<DepthPrior> priors = floor_priors(start, ties, shots, options);
  for (std::size_t round = 0; round < rounds.size(); ++round) {
    AdjustOptions adjusting = rounds[round];
    adjusting.flex_sigma_rad = flex_sigma_rad;
    adjusting.depth_priors = priors;
    fit = adjust(fit.rig, ties, shots, result.terms,
                 round == 0 ? stiff(prior, result.terms) : prior, adjusting, inlier, progress);
    if (fit.stop == StopReason::cancelled) {
      return fail({.kind = ErrorKind::cancelled, .what = "stopped"});
    }
    const std::vector<double> tie_fit = fits(fit, ties);
    spread = spread_of(tie_fit, inlier);
    if (rounds[round].robust_scale > 3 || round + 1 == rounds.size()) continue;
    inlier = judge(tie_fit, spread, options.reject_sigmas);
    flex_sigma_rad = learned_flex_sigma(fit, flex_sigma_rad);
    if (auto error = check_support(lens_count, ties, inlier, options.minimum_ties)) {
      return fail(std::move(*error));
    }
  }

  result.solution.quality = quality_of(fit, ties, shots, inlier, spread);
  result.solution.quality.flex_sigma_rad = shots > 1 ? flex_sigma_rad : 0;
  result.solution.rig = fit.rig;
  recentre(result.solution.rig);
  if (fit.covariance.size() == 0) {
    return fail({.kind = ErrorKind::numeric,
                 .where = {},
                 .field = "ties",
                 .what = "leave the terms undetermined",
                 .remedy = "add shots with ties all around the ring"});
  }
  const double inflation = std::max(1.0, spread * spread);
  result.solution.covariance = {result.terms.names(), inflation * fit.covariance};
  add_expected_seam(result.terms, result.solution);
  result.solution.weak =
      weak_directions(result.solution.rig, result.terms, result.solution.covariance.values, 0.3);
  result.points = std::move(fit.points);
  result.inlier = std::move(inlier);
  result.flex = std::move(fit.flex);
  result.stop = fit.stop;
  result.iterations = fit.iterations;
  return result;
}

}  // namespace seamwright
