#pragma once

// A flat (rectilinear) picture straight from the frames: for a screen, quickly, without the
// panorama. Lenses are joined by a plain blend as if everything were far; what a depth seam
// joins stands double here.

#include <optional>
#include <span>

#include "base/result.h"
#include "compose/render/gain.h"
#include "imaging/frame.h"
#include "projection/rig.h"
#include "projection/seam_stroke.h"

namespace seamwright {

/// A picture on the plane z = 1 of its own axes, upright in the rig's: its rows lie level.
struct Preview {
  PanoramaPlace middle = {};  ///< where the middle looks
  double field_deg = 60;      ///< left to right, 1…140
  int width_px = 640;         ///< 16…4096
  int height_px = 480;

  [[nodiscard]] std::optional<Error> validate() const;
  /// Rig from the picture's axes (right, down, ahead).
  [[nodiscard]] Mat3 rig_from_preview() const;
  /// Pixels per radian in the middle.
  [[nodiscard]] double px_per_rad() const;
  /// Unit direction in the rig of a pixel.
  [[nodiscard]] Vec3 direction(const Vec2& px) const;
};

/// RGB u8, as a screen shows it: code values of the frames' own curve, light encoded as sRGB. Black
/// where no lens sees. `rig` of the frames' size, `gains` as match_gains() says.
[[nodiscard]] Result<Image> render_preview(const Rig& rig, std::span<const Frame> frames,
                                           std::span<const ChannelGains> gains,
                                           const Preview& look);

}  // namespace seamwright
