#pragma once

// From a raster to rays in the world.

#include <cstdint>
#include <span>
#include <vector>

#include "apps/demo/caster/shape.h"
#include "projection/equirect.h"
#include "projection/rig.h"

namespace seamwright::demo {

/// A place and orientation of the rig in the world.
struct Pose {
  Quat world_from_rig = Quat::Identity();
  Vec3 position = Vec3::Zero();  ///< of the rig's origin
};

struct CameraRay {
  Ray ray;
  float weight = 0;  ///< share of the light that passes; 0: no ray, outside the image circle
};

/// Points of one raster row: u = first_px + i · step_px, each moved at random within
/// ± half_jitter_px in both directions (a fixed choice for every point of the raster).
struct RowPoints {
  double v_px = 0.5;
  double first_px = 0.5;
  double step_px = 1;
  double half_jitter_px = 0;
};

class Camera {
 public:
  virtual ~Camera() = default;
  virtual void cast(const RowPoints& points, std::span<CameraRay> rays) const = 0;
  [[nodiscard]] virtual int width_px() const = 0;
  [[nodiscard]] virtual int height_px() const = 0;
  /// Angle between neighbouring pixels where they are finest.
  [[nodiscard]] virtual double px_angle_rad() const = 0;
};

/// A true lens of the body. Directions are computed exactly on a lattice of 1/500 of the frame and
/// interpolated by cubics in between; the error stays below 1e-3 px. The rim is soft: light fades
/// from the lens' field of view to 0.6° beyond it.
///
/// The stitcher interpolates a lens' map, too (sampling/cell_fill.h). Nothing of that is used here,
/// or an error in it would be in the frames and in what is made of them, and cancel.
class LensCamera : public Camera {
 public:
  LensCamera(const MountedLens& lens, const Pose& pose, std::uint64_t jitter_seed);

  void cast(const RowPoints& points, std::span<CameraRay> rays) const override;
  [[nodiscard]] int width_px() const override { return lens_.lens.width_px; }
  [[nodiscard]] int height_px() const override { return lens_.lens.height_px; }
  [[nodiscard]] double px_angle_rad() const override { return px_angle_rad_; }

 private:
  struct RowNode {
    Vec3 direction = Vec3::Zero();
    Vec3 slope = Vec3::Zero();  ///< d direction / d v, 1/px
    bool known = false;
  };
  [[nodiscard]] const Vec3& node(int column, int row) const {
    return nodes_[static_cast<std::size_t>(row * columns_ + column)];
  }
  [[nodiscard]] std::vector<RowNode> row_nodes(double v_px) const;
  [[nodiscard]] CameraRay ray_of(const Vec3& direction) const;

  /// In the world; zero where the lens has none.
  [[nodiscard]] Vec3 exact_direction(const Vec2& px) const;

  MountedLens lens_;
  Lens wide_;  ///< the same, a little beyond its field of view
  Mat3 world_from_lens_;
  double reach_px_ = 0;  ///< no direction farther from the centre than this
  Vec3 axis_;            ///< of the lens, in the world
  Vec3 pupil_;           ///< in the world
  Float3 pupil_f_;
  double cos_rim_;  ///< of half the field of view
  std::uint64_t jitter_seed_;
  double px_angle_rad_;
  double node_step_px_;
  int columns_ = 0, rows_ = 0;  ///< of the lattice, whose first node lies kMargin steps outside
  std::vector<Vec3> nodes_;     ///< directions in the world; zero where the lens has none
};

/// The ideal panorama: everything from one point, in rig axes.
class PanoramaCamera : public Camera {
 public:
  PanoramaCamera(const Equirect& raster, const Vec3& centre_in_rig, const Pose& pose,
                 std::uint64_t jitter_seed);

  void cast(const RowPoints& points, std::span<CameraRay> rays) const override;
  [[nodiscard]] int width_px() const override { return raster_.width; }
  [[nodiscard]] int height_px() const override { return raster_.height; }
  [[nodiscard]] double px_angle_rad() const override { return 2.0 * kPi / raster_.width; }

 private:
  Equirect raster_;
  Mat3 world_from_rig_;
  Vec3 centre_;
  std::uint64_t jitter_seed_;
};

[[nodiscard]] Float3 to_float(const Vec3& v);

}  // namespace seamwright::demo
