#pragma once

#include <optional>
#include <vector>

#include "projection/lens.h"

namespace seamwright {

/// A lens and where it sits in the rig.
struct MountedLens {
  Lens lens;
  Quat rig_from_lens = Quat::Identity();
  Vec3 pupil = Vec3::Zero();  ///< entrance pupil in the rig, metres (baselines if !Rig::metric)
  /// Axial travel of the pupil, towards +z of the lens: e(θ) = e1 θ² (metres, θ in radians;
  /// Gennery 2006, IJCV 68:239–266, its first term).
  double pupil_travel = 0;

  /// Unit direction in the rig of a pixel; empty outside the field of view.
  [[nodiscard]] std::optional<Vec3> direction_in_rig(const Vec2& px) const;
  /// Where the ray of a direction (rig frame) starts: the pupil, moved by its travel.
  [[nodiscard]] Vec3 ray_origin_in_rig(const Vec3& direction_in_rig) const;
  /// Pixel of a direction at infinity (rig frame).
  [[nodiscard]] std::optional<Vec2> project_direction(const Vec3& direction_in_rig) const;
  /// Pixel of the point direction / inverse_depth (rig frame, direction of unit length from the
  /// rig's origin, inverse_depth ≥ 0 in 1/m). Zero is infinity.
  [[nodiscard]] std::optional<Vec2> project_point(const Vec3& direction_in_rig,
                                                  double inverse_depth) const;
};

/// All lenses of one body.
struct Rig {
  std::vector<MountedLens> lenses;
  /// Pupils are metres. Otherwise they are in units of the first two lenses' baseline.
  bool metric = true;

  [[nodiscard]] int lens_count() const { return static_cast<int>(lenses.size()); }
  /// Vector from the pupil of lens b to that of lens a.
  [[nodiscard]] Vec3 baseline(int a, int b) const;
  /// Mean pupil position: the viewpoint of the panorama.
  [[nodiscard]] Vec3 centre() const;
  /// The finest lens' peak resolution, px/rad; 2π × it is the native panorama width.
  [[nodiscard]] double peak_px_per_rad() const;
  [[nodiscard]] Rig scaled_to(int width, int height) const;
  [[nodiscard]] std::optional<Error> validate() const;
};

}  // namespace seamwright
