#pragma once

#include <optional>

#include "base/result.h"
#include "imaging/image.h"
#include "projection/equirect.h"
#include "sampling/picture_sampler.h"

namespace seamwright {

/// A whole panorama to be read anywhere: the columns go on around the wrap and the rows over the
/// poles. Holds a copy with a border; thread-safe.
class WrappedPanorama {
 public:
  static constexpr int kBorder_px = 16;  ///< reads kernels of up to 2 · kBorder_px taps

  explicit WrappedPanorama(const Image& panorama);

  [[nodiscard]] const Equirect& raster() const { return raster_; }
  /// The bordered copy; pixel (x, y) of the panorama is at (x + kBorder_px, y + kBorder_px).
  [[nodiscard]] const Image& bordered() const { return bordered_; }
  [[nodiscard]] Vec2 position(const Vec3& direction) const {
    return raster_.position(direction) + Vec2(kBorder_px, kBorder_px);
  }

 private:
  Equirect raster_;
  Image bordered_;
};

/// Fails unless the picture is twice as wide as high, of even width, and at least 64 px wide.
[[nodiscard]] std::optional<Error> check_whole_sphere(const Image& panorama);

}  // namespace seamwright
