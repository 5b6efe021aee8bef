#pragma once

// A template as docs/template-format.md describes it, read and computed from that page alone.

#include <optional>
#include <string>
#include <vector>

#include "body.h"

namespace independent {

struct LearntLens {
  std::string curve;
  double focal_px = 0;
  Vector2d centre_px;
  std::array<double, 4> radial{};
  double aspect = 0;
  double shear = 0;
  Vector2d decentre;
  double theta_max_rad = 0;
  std::array<double, 3> fringe_red{};
  std::array<double, 3> fringe_blue{};
  std::array<double, 3> vignetting{};
  Matrix3d rig_from_lens;
  Vector3d pupil_m;

  [[nodiscard]] Vector2d project(const Vector3d& direction_in_rig) const;
  /// By Newton's method from a direction near by.
  [[nodiscard]] Vector3d direction_in_rig(const Vector2d& px, const Vector3d& start) const;
};

[[nodiscard]] std::vector<LearntLens> read_learnt_body(const std::string& file);

struct Misalignment {
  double rms_px = 0;
  double parallax_px = 0;  ///< RMS of the part towards the other lens' side
  double sideways_px = 0;  ///< RMS of the part around the ring
  double max_px = 0;
};

/// How far apart two learnt lenses show the same infinitely far thing, over what both see: pixels
/// at the middle of a frame. No turn of the whole rig counts.
[[nodiscard]] Misalignment misalignment(const std::vector<LearntLens>& learnt,
                                        const std::array<Lens, 2>& truth);

}  // namespace independent
