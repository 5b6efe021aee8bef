#pragma once

// What hides the stand: a filling made from the floor around, or a plate of the user's.

#include "base/result.h"
#include "compose/finish/patch_fill.h"
#include "imaging/image.h"

namespace seamwright {

inline constexpr double kLargestCover_deg = 50;

/// Fills the cap within `radius_deg` (1…50) of straight down from the floor around it, in place.
/// Directions outside the cap keep their bytes. Says of what the filling is made, and how
/// well such fillings do beside it. Fails as fill_hole() does.
[[nodiscard]] Result<Filling> cover_by_filling(Image& panorama, double radius_deg);

struct PlateReport {
  /// The plate holds fewer pixels than the panorama would show: it looks soft.
  bool too_coarse = false;
  int wanted_px = 0;  ///< side at which it would be as fine as the panorama
};

/// Lays a plate over the cap within `radius_deg` of straight down, in place: the circle that fits
/// the square picture becomes the cap, as a flat disc on the floor, its top towards the panorama's
/// middle. Alpha is kept, colours are converted to the panorama's profile, the rim is smoothed over
/// a pixel, in linear light. Fails, with the panorama as it was, on a plate that is not square, is
/// smaller than 16 px, or has a broken profile.
[[nodiscard]] Result<PlateReport> cover_by_plate(Image& panorama, const Image& plate,
                                                 double radius_deg);

}  // namespace seamwright
