#pragma once

// The invented "Lantern": two fisheyes back to back on a stick.

#include <cstdint>
#include <string_view>

#include "base/result.h"
#include "projection/rig.h"

namespace seamwright {

/// How a Lantern body is drawn at random. "Up to" means evenly between minus and plus.
struct BodyOptions {
  LensCurve curve = LensCurve::equidistant;
  double field_of_view_deg = 204;   ///< of each lens, 182…220
  double baseline_m = 0.027;        ///< between the pupils along the axis, > 0
  double pupil_lateral_m = 0.0007;  ///< between the pupils across the axis, in x and in y, up to
  double pupil_travel_m = 0;        ///< e1 of e(θ) = e1 θ², −0.003…0.003
  double centre_shift = 0.012;   ///< of the principal points, up to, share of the frame; ≤ 0.02
  double mount_error_deg = 1.1;  ///< rotation of the back lens about each axis, up to; ≤ 5
  double radial_strength = 1;    ///< scales the radial terms; 0 is the nominal curve; 0…1
  double fringe_strength = 1;    ///< scales the lateral colour, 0…3

  [[nodiscard]] std::optional<Error> validate() const;
};

/// A body's true rig for frames of frame_px × frame_px. Lens 0 looks forward and carries the rig's
/// axes, lens 1 looks back, upright; the rig's origin is midway between the pupils. The same seed
/// gives the same body at every size. Fails on options out of range and on a curve that folds
/// within the field of view.
[[nodiscard]] Result<Rig> demo_body(std::uint64_t seed, int frame_px,
                                    const BodyOptions& options = {});

/// The rig of one shot: lens 1 turned by that shot's own small flex, a rotation vector with
/// standard deviation `flex_rms_deg` about each axis of the rig.
[[nodiscard]] Rig demo_shot_rig(const Rig& body, std::uint64_t seed, std::string_view shot,
                                double flex_rms_deg);

}  // namespace seamwright
