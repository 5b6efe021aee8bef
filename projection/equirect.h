#pragma once

#include "projection/conventions.h"

namespace seamwright {

/// The full-sphere equirectangular raster (conventions.h). `height` is `width` / 2 in full
/// panoramas, but any size maps.
struct Equirect {
  int width = 0;
  int height = 0;

  /// Unit direction of a continuous pixel; u wraps.
  [[nodiscard]] Vec3 direction(const Vec2& px) const;
  /// Pixel of a direction, u in [0, width).
  [[nodiscard]] Vec2 position(const Vec3& direction) const;
};

}  // namespace seamwright
