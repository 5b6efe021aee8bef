#include "solver/lone_shots.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "base/median.h"
#include "solver/shared_error.h"
#include "solver/tie_fit.h"

namespace seamwright {

namespace {

// What is known of a stand's inverse height. Where all heights between two are as likely, its mean
// and variance are those of 1/h.
DepthPrior inverse_height(const LearnRigOptions& options) {
  if (options.stand_height_m) {
    const double inverse_per_m = 1 / *options.stand_height_m;
    return {inverse_per_m, options.stand_height_share * inverse_per_m, 1};
  }
  const double least_m = options.least_stand_height_m;
  const double most_m = options.most_stand_height_m;
  const double mean_per_m = std::log(most_m / least_m) / (most_m - least_m);
  const double variance = 1 / (least_m * most_m) - mean_per_m * mean_per_m;
  return {mean_per_m, std::sqrt(variance), 1};
}

Rig as_in_shot(Rig rig, const ShotState& shot) {
  for (std::size_t lens = 0; lens < shot.flex.size(); ++lens) {
    Quat& mount = rig.lenses[lens].rig_from_lens;
    mount = quat_from_rotation_vector(shot.flex[lens]) * mount;
  }
  return rig;
}

}  // namespace

LoneShots::LoneShots(ShotStates shots, std::span<const Tie> ties)
    : ties_(static_cast<int>(ties.size())) {
  for (const ShotState& shot : shots) {
    alone_.push_back(static_cast<char>(shot.pose.network == kNoNetwork));
    networks_ += alone_.back() != 0 ? 0 : 1;
  }
}

double LoneShots::ties_per_shot() const {
  return count() > 0 ? static_cast<double>(ties_) / count() : 0;
}

std::vector<double> LoneShots::effects_beside_networks(const AdjustResult& fit,
                                                       std::span<const Tie> ties,
                                                       std::span<const char> inlier) const {
  std::vector<double> effects(alone_.size(), 1.0);
  if (are_all()) return effects;
  std::map<std::size_t, std::vector<std::size_t>> of_shot;
  for (std::size_t i = 0; i < ties.size(); ++i) {
    const auto shot = static_cast<std::size_t>(ties[i].shot);
    if (alone_[shot] != 0 && inlier[i] != 0) of_shot[shot].push_back(i);
  }
  for (const auto& [shot, members] : of_shot) {
    const Rig rig = as_in_shot(fit.rig, fit.shots[shot]);
    std::vector<RingResidual> residuals;
    for (const std::size_t i : members) {
      const auto met = meet_tie(rig, ties[i], {.floor_sigma_per_m = 0});
      if (!met) continue;
      residuals.push_back({met->lens_a, met->lens_b, met->psi_rad,
                           std::copysign(met->before.sigmas, met->before.sideways_px)});
    }
    effects[shot] = design_effect(residuals, 3 * (rig.lens_count() - 1));
  }
  return effects;
}

// The floor below the stand, for ties within 35° of straight down.
std::vector<DepthPrior> floor_priors(const Rig& rig, std::span<const Tie> ties,
                                     const LoneShots& lone, const LearnRigOptions& options) {
  std::vector<DepthPrior> priors;
  if (!options.stands_on_floor || !lone.are_all()) return priors;
  priors.resize(ties.size());
  constexpr double kLeastDown = 0.82;
  int count = 0;
  for (std::size_t i = 0; i < ties.size(); ++i) {
    const TiePoint point = locate_tie(rig, ties[i], false);
    if (!point.usable || point.direction.y() < kLeastDown) continue;
    // A point of the floor is the farther the less straight down it is.
    priors[i] = inverse_height(options);
    priors[i].mean_per_m *= point.direction.y();
    ++count;
  }
  // The height is one unknown a stand, not one a tie.
  for (DepthPrior& prior : priors)
    prior.weight *= lone.count() / std::max(1.0, static_cast<double>(count));
  return priors;
}

double depth_of_least_deep(const LoneShots& lone, std::span<const Tie> ties,
                           std::span<const char> inlier, std::span<const TiePoint> points) {
  if (!lone.are_all()) return 0;
  std::map<int, std::vector<double>> depths;
  for (std::size_t i = 0; i < ties.size(); ++i) {
    if (inlier[i] == 0 || !points[i].usable) continue;
    depths[ties[i].shot].push_back(std::abs(points[i].inverse_depth));
  }
  double least = 0;
  for (auto& [shot, all] : depths) {
    const double middle = median(std::move(all));
    least = least > 0 ? std::min(least, middle) : middle;
  }
  return least;
}

}  // namespace seamwright
