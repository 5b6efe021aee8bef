#pragma once

// Shots that stand alone, which no tracks join to others.
//
// Where all do, their rings must tell everything, and beliefs in depths stand in for what they
// cannot tell (learn_rig.h). Beside a network, which knows the lenses' angles, nothing has to be
// leaned on: there a lone shot adds what its ties are worth.

#include <span>
#include <vector>

#include "projection/tie.h"
#include "solver/learn_rig.h"

namespace seamwright {

class LoneShots {
 public:
  LoneShots(ShotStates shots, std::span<const Tie> ties);

  /// Whether no shot belongs to a network.
  [[nodiscard]] bool are_all() const { return networks_ == 0; }
  /// How many these are a shot; 0 where there are networks.
  [[nodiscard]] double ties_per_shot() const;
  [[nodiscard]] int count() const { return are_all() ? static_cast<int>(alone_.size()) : 0; }

  /// The design effect (shared_error.h) of every shot's ring, 1 for those that are in a network and
  /// where there is none. From the fit, whose noise `ties` claim; only of inliers.
  [[nodiscard]] std::vector<double> effects_beside_networks(const AdjustResult& fit,
                                                            std::span<const Tie> ties,
                                                            std::span<const char> inlier) const;

 private:
  std::vector<char> alone_;  // one a shot
  int networks_ = 0;         // how many shots are in one
  int ties_ = 0;
};

/// The floor below the stands, for ties within 35° of straight down: one a tie, or none.
[[nodiscard]] std::vector<DepthPrior> floor_priors(const Rig& rig, std::span<const Tie> ties,
                                                   const LoneShots& lone,
                                                   const LearnRigOptions& options);

/// Median inverse depth of the shot in which it is least, 1/m; 0 where there are networks.
[[nodiscard]] double depth_of_least_deep(const LoneShots& lone, std::span<const Tie> ties,
                                         std::span<const char> inlier,
                                         std::span<const TiePoint> points);

}  // namespace seamwright
