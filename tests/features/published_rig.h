#pragma once

#include <filesystem>

#include "projection/rig.h"

namespace seamwright::test {

/// The calibration published with the four-fisheye interior: omnidirectional polynomial cameras
/// (Scaramuzza, Martinelli, Siegwart 2006) as in a `published_rig.yaml`. Each radius polynomial is
/// fitted by our equidistant curve with four radial terms; `worst_fit_px` is the largest deviation.
/// The published model's frame rows are its first axis; its 2×2 affine becomes a turn of the lens
/// about its axis, aspect and shear.
struct PublishedRig {
  Rig rig;
  double worst_fit_px = 0;
};

/// Throws on a file of another shape. `theta_max_rad` is the half field of view to use.
[[nodiscard]] PublishedRig read_published_rig(const std::filesystem::path& path,
                                              double theta_max_rad);

}  // namespace seamwright::test
