#include "solver/learned_noise.h"

#include <algorithm>
#include <cmath>

#include "projection/ribbon.h"

namespace seamwright {

bool is_track(const Tie& tie) {
  return std::any_of(tie.sights.begin(), tie.sights.end(),
                     [&](const TieSight& sight) { return tie.shot_of(sight) != tie.shot; });
}

NoiseRatios::NoiseRatios(const std::vector<TieMisfit>& fits, std::span<const Tie> ties,
                         std::span<const char> inlier, int shots) {
  std::vector<int> counts(static_cast<std::size_t>(shots), 0);
  for (std::size_t i = 0; i < ties.size(); ++i) {
    if (inlier[i] != 0 && !is_track(ties[i])) ++counts[static_cast<std::size_t>(ties[i].shot)];
  }
  const auto of = [&](bool track, int shot) {
    return std::max(1.0, noise_ratio(fits, [&](std::size_t i) {
                      return inlier[i] != 0 && is_track(ties[i]) == track &&
                             (shot < 0 || ties[i].shot == shot);
                    }));
  };
  track_ = of(true, -1);
  const double all = of(false, -1);
  for (int shot = 0; shot < shots; ++shot) {
    constexpr int kEnough = 40;
    ring_.push_back(counts[static_cast<std::size_t>(shot)] >= kEnough ? of(false, shot) : all);
  }
}

double learned_flex_sigma(const AdjustResult& fit, double current_sigma_rad) {
  constexpr double kFloor_rad = 2e-5;
  constexpr double kCeiling_rad = 2e-3;
  if (fit.shots.size() < 3 || fit.shots[0].flex.empty()) return current_sigma_rad;
  double sum = 0;
  double count = 0;
  for (std::size_t s = 0; s < fit.shots.size(); ++s) {
    const ShotState& shot = fit.shots[s];
    for (std::size_t lens = 1; lens < shot.flex.size(); ++lens) {
      if (shot.pose.network != kNoNetwork && !fit.flex_variance.empty()) {
        sum += shot.flex[lens].squaredNorm() + fit.flex_variance[s][lens].sum();
        count += 3;
      } else {
        const RibbonAxes axes = RibbonAxes::of_pair(fit.rig, 0, static_cast<int>(lens));
        sum += std::pow(shot.flex[lens].dot(axes.pole()), 2);
        count += 1;
      }
    }
  }
  return std::clamp(std::sqrt(sum / count), kFloor_rad, kCeiling_rad);
}

}  // namespace seamwright
