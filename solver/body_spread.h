#pragma once

// What is known of a body before any of its pictures: how far real bodies stray from nominal.

#include "projection/rig.h"
#include "solver/adjust.h"
#include "solver/shared_terms.h"

namespace seamwright {

/// How far a body may be from its nominal geometry, 1σ. Terms the ties do not reach stay there.
struct BodySpread {
  double focal_share = 0.05;   ///< of the focal length
  double centre_share = 0.02;  ///< of the frame width
  double radial[4] = {0.01, 0.003, 0.001,
                      0.0003};  ///< radial_1…radial_4: about 3 % of the radius each
  double affine = 1e-3;         ///< aspect, shear
  double decentring = 5e-4;     ///< decentre_u, decentre_v
  double rotation_rad = rad_from_deg(5.0);
  /// Lenses of one body are of one make: their focal lengths and radial terms differ by this share
  /// of the spreads above.
  double piece_share = 0.15;
  double pupil_m = 0.002;         ///< per axis; the baseline's length is held
  double pupil_travel_m = 0.001;  ///< e1 of e(θ) = e1 θ²
};

/// All lens terms, rotations and pupils.
[[nodiscard]] SharedTerms all_rig_terms(int lens_count);
/// And the pupils' axial travel, which a ring cannot tell from the baseline's length: it sees every
/// tie at about the same angle.
[[nodiscard]] SharedTerms all_rig_terms_and_travel(int lens_count);

/// Diagonal information of BodySpread around `nominal`.
[[nodiscard]] SharedPrior prior_of(const BodySpread& spread, const Rig& nominal,
                                   const SharedTerms& terms);

}  // namespace seamwright
