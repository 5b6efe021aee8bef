#pragma once

#include <vector>

#include "projection/conventions.h"

namespace seamwright {

/// Where a tie stands in depth, as far as somebody knows.
enum class TieRange { open, near, far };  // far: beyond 10 m
enum class TieOrigin { automatic, manual };

inline constexpr int kOwnShot = -1;

/// One sight of a tie by one lens.
struct TieSight {
  int lens = 0;
  Vec2 px = Vec2::Zero();
  Mat2 covariance_px2 = Mat2::Identity() * 0.09;  ///< of px; automatic default 0.3 px
  /// The shot it was seen in; kOwnShot is the tie's own. A tie with sights in other shots is a
  /// track: those shots' places relative to each other are then unknowns as well.
  int shot = kOwnShot;
};

/// The same scene point in two or more sights: 2 direction + 1 inverse-depth unknowns, in the rig
/// frame of the tie's own shot.
struct Tie {
  int shot = 0;
  std::vector<TieSight> sights{};
  TieRange range = TieRange::open;
  TieOrigin origin = TieOrigin::automatic;

  [[nodiscard]] int shot_of(const TieSight& sight) const {
    return sight.shot == kOwnShot ? shot : sight.shot;
  }
};

}  // namespace seamwright
