#pragma once

// A flat (rectilinear) view of a panorama: what an editor can retouch, because straight stays
// straight and the floor is seen as a plan. Also one face of a cube.

#include <optional>

#include "base/result.h"
#include "compose/finish/wrapped_panorama.h"
#include "imaging/image.h"
#include "projection/conventions.h"

namespace seamwright {

/// A square picture on the plane z = 1 of its own axes, ±tan(field / 2) wide. Pixels as in
/// conventions.h.
struct FlatView {
  Mat3 sphere_from_view = Mat3::Identity();  ///< columns: the view's right, down and ahead
  double half_width = 1;                     ///< tan(field / 2)
  int size_px = 0;

  /// Straight down; the top edge looks to the panorama's middle.
  [[nodiscard]] static FlatView down(double field_deg, int size_px);

  /// Unit direction on the sphere.
  [[nodiscard]] Vec3 direction(const Vec2& px) const;
  /// Pixel of a direction; empty behind the plane. May lie outside the picture.
  [[nodiscard]] std::optional<Vec2> position(const Vec3& direction) const;
  /// Pixels per radian at an angle off the middle, geometric mean of across and along.
  [[nodiscard]] double px_per_rad(double off_axis_rad) const;
};

/// Size at which the middle of a view is as fine as the panorama's horizon, even.
[[nodiscard]] int native_view_size(int panorama_width_px, double field_deg);

/// The view, colours only: float from a float panorama, else 16 bits.
[[nodiscard]] Image render_flat_view(const WrappedPanorama& panorama, const FlatView& view);

}  // namespace seamwright
