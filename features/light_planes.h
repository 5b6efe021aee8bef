#pragma once

#include <cstdint>
#include <vector>

#include "base/result.h"
#include "imaging/image.h"
#include "projection/conventions.h"

namespace seamwright {

/// A frame in linear light, a plane a colour, and where it tells nothing: in linear light a blurred
/// border of two surfaces keeps its place whatever their contrast, and gains are plain factors.
struct LightPlanes {
  std::vector<Image> colours;      ///< grey f32, white 1.0: red, green, blue, or the one grey
  std::vector<std::uint8_t> lost;  ///< row by row, 1 where any colour is clipped or not a number

  [[nodiscard]] int width() const { return colours.front().width(); }
  [[nodiscard]] int height() const { return colours.front().height(); }
  /// True where no pixel within `reach_px` of the pixel at `px` is lost or outside the frame.
  [[nodiscard]] bool whole(const Vec2& px, int reach_px) const;
};

/// Fails on a broken colour profile.
[[nodiscard]] Result<LightPlanes> light_planes_of(const Image& frame);

}  // namespace seamwright
