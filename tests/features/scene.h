#pragma once

// A small synthetic world for ties: a box room whose walls carry smooth noise and sharp-edged
// panels, seen through any lens. Where a pixel's ray meets the room is known exactly.

#include <optional>
#include <vector>

#include "imaging/image.h"
#include "projection/rig.h"

namespace seamwright::test {

struct SceneOptions {
  Vec3 half_size = {2.0, 1.3, 3.0};  ///< of the box, metres
  Vec3 stand = {0.2, 0.1, -0.3};     ///< the rig's origin in the box
  double grain_m = 0.02;             ///< smallest wavelength of the noise at the walls
  double grain_contrast = 0.15;      ///< 0: only panels
  bool panels = true;
};

class Scene {
 public:
  explicit Scene(const SceneOptions& options = {}) : options_(options) {}

  /// Point (rig frame) that a ray meets.
  [[nodiscard]] Vec3 hit(const Vec3& origin, const Vec3& direction) const;
  /// Brightness 0…1 at a point of the walls (rig frame).
  [[nodiscard]] double brightness(const Vec3& point) const;

 private:
  SceneOptions options_;
};

struct ExposureOptions {
  double gain = 1;
  double noise = 0.002;  ///< σ on the 0…1 scale
  std::uint64_t stream = 7;
  int samples = 3;                            ///< rays a pixel along each axis
  double least_theta_rad = rad_from_deg(60);  ///< the middle of the frame is left black
};

/// Grey f32 frame of the room (transfer sRGB: values are used as they are).
[[nodiscard]] Image photograph(const Scene& scene, const MountedLens& lens,
                               const ExposureOptions& exposure = {});

/// Pixel in lens b of the point at pixel `px_a` of lens a, as far away as what a sees at
/// `depth_px_a`; empty where b does not see it.
[[nodiscard]] std::optional<Vec2> partner_of(const Scene& scene, const MountedLens& a,
                                             const MountedLens& b, const Vec2& px_a,
                                             const Vec2& depth_px_a);

}  // namespace seamwright::test
