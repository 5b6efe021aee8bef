#include "apps/demo/body.h"

#include <string>

#include "apps/demo/caster/hash.h"
#include "base/out_of_range.h"

namespace seamwright {
namespace {

/// What a random number is for; part of its counter.
enum Use : std::uint64_t {
  kUseRim = 1,
  kUseRadial = 10,
  kUseLensRadial = 20,
  kUseCentre = 30,
  kUseAffine = 40,
  kUseDecentre = 50,
  kUseFringe = 60,
  kUseVignette = 70,
  kUseMount = 80,
  kUsePupil = 90,
  kUseFlex = 100,
};

class Draw {
 public:
  Draw(std::uint64_t seed, std::uint64_t lens) : seed_(seed), lens_(lens) {}
  /// Evenly in −1…1.
  [[nodiscard]] double even(std::uint64_t use) const {
    return 2.0 * demo::unit_double(demo::hash_of(seed_, lens_, use)) - 1.0;
  }

 private:
  std::uint64_t seed_;
  std::uint64_t lens_;
};

FringeTerms fringe(const Draw& draw, std::uint64_t use, double sign, double strength) {
  const double s = sign * strength;
  return {.a0 = s * (2.5e-4 + 1.0e-4 * draw.even(use)),
          .a1 = s * (8.0e-4 + 1.5e-4 * draw.even(use + 1)),
          .a2 = s * (4.0e-4 + 1.0e-4 * draw.even(use + 2))};
}

Lens lantern_lens(std::uint64_t seed, std::uint64_t index, const BodyOptions& options) {
  constexpr int kReference_px = 2000;
  const Draw design(seed, 7);  // both lenses are of one make
  const Draw piece(seed, index);
  Lens lens;
  lens.curve = options.curve;
  lens.width_px = kReference_px;
  lens.height_px = kReference_px;
  lens.theta_max_rad = rad_from_deg(0.5 * options.field_of_view_deg);
  auto& t = lens.terms;
  constexpr std::array<double, 3> kMean = {0.02, -0.008, 0.0005};
  constexpr std::array<double, 3> kSpread = {0.012, 0.002, 0.0003};
  constexpr std::array<double, 3> kPieceSpread = {0.003, 0.001, 0.0001};
  for (std::size_t i = 0; i < kMean.size(); ++i) {
    t[kRadial1 + i] =
        options.radial_strength * (kMean[i] + kSpread[i] * design.even(kUseRadial + i) +
                                   kPieceSpread[i] * piece.even(kUseLensRadial + i));
  }
  const double rim_px = kReference_px * (0.474 + 0.003 * piece.even(kUseRim));
  t[kFocal] = rim_px / lens.radius(lens.theta_max_rad);
  t[kCentreU] = kReference_px * (0.5 + options.centre_shift * piece.even(kUseCentre));
  t[kCentreV] = kReference_px * (0.5 + options.centre_shift * piece.even(kUseCentre + 1));
  t[kAspect] = 8e-4 * piece.even(kUseAffine);
  t[kShear] = 5e-4 * piece.even(kUseAffine + 1);
  t[kDecentreU] = 4e-4 * piece.even(kUseDecentre);
  t[kDecentreV] = 4e-4 * piece.even(kUseDecentre + 1);
  lens.red = fringe(piece, kUseFringe, 1, options.fringe_strength);
  lens.blue = fringe(piece, kUseFringe + 5, -1, options.fringe_strength);
  lens.vignetting = {.v1 = -0.16 + 0.04 * piece.even(kUseVignette),
                     .v2 = -0.10 + 0.03 * piece.even(kUseVignette + 1),
                     .v3 = -0.10 + 0.03 * piece.even(kUseVignette + 2)};
  return lens;
}

}  // namespace

std::optional<Error> BodyOptions::validate() const {
  const std::array checks = {out_of_range("field_of_view_deg", field_of_view_deg, 182, 220),
                             out_of_range("baseline_m", baseline_m, 1e-4, 1),
                             out_of_range("pupil_lateral_m", pupil_lateral_m, 0, 0.01),
                             out_of_range("pupil_travel_m", pupil_travel_m, -0.003, 0.003),
                             out_of_range("centre_shift", centre_shift, 0, 0.02),
                             out_of_range("mount_error_deg", mount_error_deg, 0, 5),
                             out_of_range("radial_strength", radial_strength, 0, 1),
                             out_of_range("fringe_strength", fringe_strength, 0, 3)};
  for (const auto& check : checks) {
    if (check) {
      return check;
    }
  }
  return std::nullopt;
}

Result<Rig> demo_body(std::uint64_t seed, int frame_px, const BodyOptions& options) {
  if (const auto error = options.validate()) {
    return fail(*error);
  }
  if (const auto error = out_of_range("frame_px", frame_px, 64, 8192)) {
    return fail(*error);
  }
  const Draw draw(seed, 9);
  const Vec3 across(0.5 * options.pupil_lateral_m * draw.even(kUsePupil),
                    0.5 * options.pupil_lateral_m * draw.even(kUsePupil + 1), 0);
  const Vec3 forward(0, 0, 0.5 * options.baseline_m);
  const double mount_rad = rad_from_deg(options.mount_error_deg);
  const Vec3 mount(mount_rad * draw.even(kUseMount), mount_rad * draw.even(kUseMount + 1),
                   mount_rad * draw.even(kUseMount + 2));
  Rig rig;
  rig.lenses.resize(2);
  for (std::uint64_t i = 0; i < 2; ++i) {
    MountedLens& mounted = rig.lenses[i];
    mounted.lens = lantern_lens(seed, i, options).scaled_to(frame_px, frame_px);
    mounted.pupil = i == 0 ? Vec3(forward + across) : Vec3(-forward - across);
    mounted.pupil_travel = options.pupil_travel_m;
  }
  const Quat back(Eigen::AngleAxisd(kPi, Vec3::UnitY()));
  rig.lenses[1].rig_from_lens = (quat_from_rotation_vector(mount) * back).normalized();
  if (const auto error = rig.validate()) {
    return fail(*error);
  }
  return rig;
}

Rig demo_shot_rig(const Rig& body, std::uint64_t seed, std::string_view shot, double flex_rms_deg) {
  std::uint64_t name = 0;
  for (const char c : shot) {
    name = demo::hash_of(name, static_cast<unsigned char>(c));
  }
  const auto bend = [&](std::uint64_t axis) {
    return rad_from_deg(flex_rms_deg) *
           static_cast<double>(demo::bell(demo::hash_of(seed, name, kUseFlex + axis)));
  };
  Rig rig = body;
  Quat& back = rig.lenses[1].rig_from_lens;
  back = (quat_from_rotation_vector({bend(0), bend(1), bend(2)}) * back).normalized();
  return rig;
}

}  // namespace seamwright
