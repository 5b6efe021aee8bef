#pragma once

#include <vector>

#include "imaging/image.h"
#include "projection/lens.h"

namespace seamwright {

/// Where a frame shows picture: inside the lens' field of view and inside the frame, without the
/// dark surround where the stated field of view reaches beyond the image circle.
class VisibleField {
 public:
  /// `plane` as from match_plane, of the lens' frame size.
  VisibleField(const Image& plane, const Lens& lens);

  /// True where the frame pixel shows picture at least `margin_px` inside the border of the field.
  [[nodiscard]] bool contains(const Vec2& px, double margin_px = 0) const;

 private:
  Vec2 centre_px_;
  int width_px_ = 0;
  int height_px_ = 0;
  std::vector<float> limit_px_;  // largest visible radius per azimuth around the centre
};

}  // namespace seamwright
