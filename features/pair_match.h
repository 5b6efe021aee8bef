#pragma once

// A match between the lenses of a pair, on its way from a rough one to a tie.

#include "sampling/strip.h"

namespace seamwright {

/// The same place of the scene in both lenses.
struct PairMatch {
  RibbonPlace a, b;
  Mat2 covariance_px2 = Mat2::Zero();  ///< of b.at − a.at, ribbon px²
  double ncc = 0;                      ///< weighted correlation after alignment; 0 before
  double noise = 0;                    ///< residual σ as a share of the patch's own deviation
  int level = 0;                       ///< of LensView::levels in which the alignment was surest
  double response = 0;                 ///< of the weaker of two key points
  bool edge = false;                   ///< on an edge: sure across it only
};

}  // namespace seamwright
