#pragma once

#include <vector>

#include "projection/conventions.h"

namespace seamwright {

/// A place on a straight edge, measured across the edge only.
struct PlumbPoint {
  Vec2 px = Vec2::Zero();
  double sigma_px = 0.1;  ///< 1σ of the distance between px and the edge
};

/// A long straight edge of the scene as one lens saw it. Its points lie on a great circle around
/// the lens, however far away the edge is.
struct PlumbLine {
  int shot = 0;
  int lens = 0;
  std::vector<PlumbPoint> points{};  ///< in order along the edge
};

}  // namespace seamwright
