#pragma once

#include "projection/conventions.h"

namespace seamwright {

/// Where a lens whose pupil travels by e(θ) = `travel` θ² shows a point (lens frame): `from_pupil`,
/// its vector from the pupil of an axial ray times the inverse depth, with the travel taken off.
[[nodiscard]] Vec3 seen_past_travel(const Vec3& from_pupil, double inverse_depth, double travel);

}  // namespace seamwright
