#pragma once

#include <vector>

#include "projection/conventions.h"

namespace seamwright {

/// Where a tie stands in depth, as far as somebody knows.
enum class TieRange { open, near, far };  // far: beyond 10 m
enum class TieOrigin { automatic, manual };

/// One sight of a tie by one lens.
struct TieSight {
  int lens = 0;
  Vec2 px = Vec2::Zero();
  Mat2 covariance_px2 = Mat2::Identity() * 0.09;  ///< of px; automatic default 0.3 px
};

/// The same scene point in two or more lenses of one shot: 2 direction + 1 inverse-depth unknowns.
struct Tie {
  int shot = 0;
  std::vector<TieSight> sights{};
  TieRange range = TieRange::open;
  TieOrigin origin = TieOrigin::automatic;
};

}  // namespace seamwright
