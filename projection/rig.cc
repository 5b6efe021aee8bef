#include "projection/rig.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "projection/pupil_travel.h"

namespace seamwright {

namespace {

double off_axis(const Vec3& d) { return std::atan2(std::hypot(d.x(), d.y()), d.z()); }

}  // namespace

std::optional<Vec3> MountedLens::direction_in_rig(const Vec2& px) const {
  const auto direction = lens.unproject(px);
  if (!direction) return std::nullopt;
  return rig_from_lens * *direction;
}

Vec3 MountedLens::ray_origin_in_rig(const Vec3& direction_in_rig) const {
  if (pupil_travel == 0) return pupil;
  const double theta = off_axis(rig_from_lens.conjugate() * direction_in_rig);
  return pupil + rig_from_lens * Vec3(0, 0, pupil_travel * theta * theta);
}

std::optional<Vec2> MountedLens::project_direction(const Vec3& direction_in_rig) const {
  return lens.project(rig_from_lens.conjugate() * direction_in_rig);
}

std::optional<Vec2> MountedLens::project_point(const Vec3& direction_in_rig,
                                               double inverse_depth) const {
  const Vec3 from_pupil = rig_from_lens.conjugate() * (direction_in_rig - inverse_depth * pupil);
  return lens.project(seen_past_travel(from_pupil, inverse_depth, pupil_travel));
}

Vec3 Rig::baseline(int a, int b) const {
  return lenses[static_cast<std::size_t>(a)].pupil - lenses[static_cast<std::size_t>(b)].pupil;
}

Vec3 Rig::centre() const {
  Vec3 sum = Vec3::Zero();
  for (const MountedLens& lens : lenses) sum += lens.pupil;
  return lenses.empty() ? sum : Vec3(sum / static_cast<double>(lenses.size()));
}

double Rig::peak_px_per_rad() const {
  double peak = 0;
  for (const MountedLens& mounted : lenses) {
    peak = std::max(peak, mounted.lens.peak_px_per_rad());
  }
  return peak;
}

Rig Rig::scaled_to(int width, int height) const {
  Rig scaled = *this;
  for (MountedLens& mounted : scaled.lenses) mounted.lens = mounted.lens.scaled_to(width, height);
  return scaled;
}

std::optional<Error> Rig::validate() const {
  if (lenses.size() < 2 || lenses.size() > 8) {
    return Error{.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "lenses",
                 .what = fmt::format("{} lenses", lenses.size()),
                 .remedy = "a rig has 2 to 8"};
  }
  for (std::size_t i = 0; i < lenses.size(); ++i) {
    const MountedLens& mounted = lenses[i];
    const auto in_lens = [&](Error error) {
      error.field = fmt::format("lenses[{}].{}", i, error.field);
      return error;
    };
    if (auto error = mounted.lens.validate()) return in_lens(std::move(*error));
    const bool finite = mounted.pupil.allFinite() && mounted.rig_from_lens.coeffs().allFinite() &&
                        std::isfinite(mounted.pupil_travel);
    if (!finite || std::abs(mounted.rig_from_lens.norm() - 1.0) > 1e-9) {
      return in_lens({.kind = ErrorKind::user_input,
                      .where = {},
                      .field = "mount",
                      .what = "rotation or pupil is not a finite number",
                      .remedy = "give finite numbers"});
    }
    if (mounted.lens.width_px != lenses[0].lens.width_px ||
        mounted.lens.height_px != lenses[0].lens.height_px) {
      return in_lens({.kind = ErrorKind::user_input,
                      .where = {},
                      .field = "size_px",
                      .what = "differs from lens 0",
                      .remedy = "all lenses of a body have frames of one size"});
    }
  }
  return std::nullopt;
}

}  // namespace seamwright
