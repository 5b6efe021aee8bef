#pragma once

// Synthetic bodies: a nominal geometry, and random ones that differ from it as real bodies do.
// Lenses stand on a ring looking outwards, two of them back to back; lens 0 looks along +z.

#include <algorithm>
#include <stdexcept>

#include "projection/rig.h"
#include "tests/support/random_geometry.h"

namespace seamwright::test {

/// What a body is and how far random ones stray from nominal. Set a spread to 0 to keep a term at
/// its nominal value.
struct RigOptions {
  int lens_count = 2;
  double ring_step_rad = 0;  ///< angle between neighbouring axes; 0: 2π / lens_count
  LensCurve curve = LensCurve::equidistant;
  double theta_max_rad = rad_from_deg(100);  ///< capped to what the curve can do
  int width_px = 2000;
  int height_px = 2000;
  double baseline_m = 0.027;  ///< between neighbouring pupils

  double focal_spread = 0.01;       ///< relative, ±
  double centre_spread_px = 15;     ///< ±
  double radial_spread = 0.01;      ///< radial_1 ±; the others ± a third of the one before
  double affine_spread = 1e-3;      ///< aspect, shear ±
  double decentring_spread = 5e-4;  ///< both decentring terms ±
  double mount_spread_rad = rad_from_deg(1);  ///< rotation vector components ±, not for lens 0
  double pupil_spread_m = 5e-4;               ///< components ±
  double pupil_travel_m = 0;                  ///< e1, 0…
  double fringe_spread = 1e-3;                ///< a0, a1, a2 ±
  double vignetting = 0.3;                    ///< darkening at the rim, up to
};

/// Half the field of view that a curve can show with its radius still growing well.
[[nodiscard]] inline double usable_theta_rad(LensCurve curve, double wanted_rad) {
  const double limit = with_curve(curve, [](auto c) { return decltype(c)::theta_limit_rad; });
  return std::min(wanted_rad, 0.92 * limit);
}

/// No errors anywhere: the circle's rim 3 % inside the shorter side.
[[nodiscard]] inline Rig nominal_rig(const RigOptions& options = {}) {
  Lens lens;
  lens.curve = options.curve;
  lens.theta_max_rad = usable_theta_rad(options.curve, options.theta_max_rad);
  lens.width_px = options.width_px;
  lens.height_px = options.height_px;
  lens.terms[kCentreU] = options.width_px / 2.0;
  lens.terms[kCentreV] = options.height_px / 2.0;
  lens.terms[kFocal] =
      0.97 * std::min(options.width_px, options.height_px) / 2.0 / lens.radius(lens.theta_max_rad);

  const double step =
      options.ring_step_rad > 0 ? options.ring_step_rad : 2 * kPi / options.lens_count;
  const double ring_radius_m = options.baseline_m / (2 * std::sin(step / 2));
  Rig rig;
  for (int i = 0; i < options.lens_count; ++i) {
    MountedLens mounted{.lens = lens};
    if (i > 0) mounted.rig_from_lens = Quat(Eigen::AngleAxisd(i * step, Vec3::UnitY()));
    mounted.pupil = mounted.rig_from_lens * Vec3(0, 0, ring_radius_m);
    rig.lenses.push_back(mounted);
  }
  return rig;
}

/// The nominal lens with every term strayed; not checked.
[[nodiscard]] inline Lens strayed_lens(Random& random, const Lens& nominal,
                                       const RigOptions& options) {
  const auto around = [&](double spread) { return random.uniform(-spread, spread); };
  Lens lens = nominal;
  lens.terms[kFocal] *= 1 + around(options.focal_spread);
  lens.terms[kCentreU] += around(options.centre_spread_px);
  lens.terms[kCentreV] += around(options.centre_spread_px);
  double radial = options.radial_spread;
  for (const LensTerm term : {kRadial1, kRadial2, kRadial3, kRadial4}) {
    lens.terms[term] = around(radial);
    radial /= 3;
  }
  lens.terms[kAspect] = around(options.affine_spread);
  lens.terms[kShear] = around(options.affine_spread);
  lens.terms[kDecentreU] = around(options.decentring_spread);
  lens.terms[kDecentreV] = around(options.decentring_spread);
  for (FringeTerms* fringe : {&lens.red, &lens.blue}) {
    *fringe = {around(options.fringe_spread), around(options.fringe_spread),
               around(options.fringe_spread)};
  }
  lens.vignetting = {random.uniform(-options.vignetting, 0), 0, 0};
  return lens;
}

/// A body that strays from nominal. Always valid: lenses that fold inside their field of view are
/// drawn again, with half the radial spread after every tenth try.
[[nodiscard]] inline Rig random_rig(Random& random, RigOptions options = {}) {
  const Rig nominal = nominal_rig(options);
  Rig rig = nominal;
  for (std::size_t i = 0; i < rig.lenses.size(); ++i) {
    MountedLens& mounted = rig.lenses[i];
    for (int attempt = 1; attempt == 1 || mounted.lens.validate(); ++attempt) {
      if (attempt > 200) throw std::runtime_error("random_rig: no valid lens within its options");
      if (attempt % 10 == 0) options.radial_spread /= 2;
      mounted.lens = strayed_lens(random, nominal.lenses[i].lens, options);
    }
    if (i > 0) {
      const Vec3 error_rad = random_offset(random, options.mount_spread_rad);
      mounted.rig_from_lens = quat_from_rotation_vector(error_rad) * mounted.rig_from_lens;
    }
    mounted.pupil += random_offset(random, options.pupil_spread_m);
    mounted.pupil_travel = random.uniform(0, options.pupil_travel_m);
  }
  return rig;
}

/// The same from a number: equal numbers give equal bodies under one test seed.
[[nodiscard]] inline Rig random_rig(std::uint64_t stream, const RigOptions& options = {}) {
  Random random(stream);
  return random_rig(random, options);
}

}  // namespace seamwright::test
