#pragma once

#include <limits>

#include "imaging/image.h"
#include "imaging/transfer.h"

namespace seamwright {

/// The part of the raster that a moved frame fills.
struct Extent {
  int left = 0;
  int top = 0;
  int right = std::numeric_limits<int>::max();   ///< one beyond
  int bottom = std::numeric_limits<int>::max();  ///< one beyond

  [[nodiscard]] bool holds(int x, int y) const {
    return x >= left && x < right && y >= top && y < bottom;
  }
};

/// A frame on its way through the merge: grey or RGB without alpha, on the raster of the reference
/// once it is aligned.
struct Exposed {
  Image image;
  TransferCurve curve = TransferCurve::linear();
  double exposure = 1;  ///< signal per light, relative
  Extent extent = {};
};

}  // namespace seamwright
