#pragma once

// Where two lenses meet, sampled azimuth by azimuth: quicker than the exact bounds of
// overlap_of(), for work that a person waits for.

#include <optional>
#include <vector>

#include "projection/ribbon.h"

namespace seamwright {

/// Colatitudes that both lenses see at one azimuth.
struct SharedColatitudes {
  double begin_rad = 0;
  double end_rad = 0;
};

/// To a degree, at least `margin_rad` inside both fields of view; empty where the two share
/// nothing at this azimuth.
[[nodiscard]] std::optional<SharedColatitudes> shared_colatitudes(const Rig& rig, int a, int b,
                                                                  double psi_rad,
                                                                  double margin_rad);

/// `colatitudes` directions at each of `azimuths` azimuths, in that order; fewer where the pair
/// does not overlap all around.
[[nodiscard]] std::vector<RibbonAngles> ring_directions(const Rig& rig, int a, int b, int azimuths,
                                                        int colatitudes,
                                                        double margin_rad = rad_from_deg(1.0));

}  // namespace seamwright
