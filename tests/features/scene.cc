#include "tests/features/scene.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>

#include "base/parallel.h"
#include "tests/support/random.h"

namespace seamwright::test {

namespace {

std::uint64_t mixed(std::uint64_t x) {
  x ^= x >> 30U;
  x *= 0xBF58476D1CE4E5B9U;
  x ^= x >> 27U;
  x *= 0x94D049BB133111EBU;
  return x ^ (x >> 31U);
}

double lattice_value(int x, int y, std::uint64_t salt) {
  const auto key = (static_cast<std::uint64_t>(static_cast<std::uint32_t>(x)) << 32U) |
                   static_cast<std::uint32_t>(y);
  return static_cast<double>(mixed(key + salt * 0x9E3779B97F4A7C15U) >> 11U) * 0x1p-53;
}

// Value noise with quintic blending, one wavelength, −0.5…0.5.
double noise(double u, double v, std::uint64_t salt) {
  const double fu = std::floor(u);
  const double fv = std::floor(v);
  const auto blend = [](double t) { return t * t * t * (t * (t * 6 - 15) + 10); };
  const double a = blend(u - fu);
  const double b = blend(v - fv);
  const int x = static_cast<int>(fu);
  const int y = static_cast<int>(fv);
  const double top = lattice_value(x, y, salt) * (1 - a) + lattice_value(x + 1, y, salt) * a;
  const double low =
      lattice_value(x, y + 1, salt) * (1 - a) + lattice_value(x + 1, y + 1, salt) * a;
  return top * (1 - b) + low * b - 0.5;
}

// Sharp-edged panels of random brightness on a jittered grid.
double panel(double u, double v, std::uint64_t salt) {
  constexpr double kCell_m = 0.3;
  const int x = static_cast<int>(std::floor(u / kCell_m));
  const int y = static_cast<int>(std::floor(v / kCell_m));
  const double left = 0.05 + 0.1 * lattice_value(x, y, salt + 1);
  const double top = 0.05 + 0.1 * lattice_value(x, y, salt + 2);
  const double wide = 0.05 + 0.1 * lattice_value(x, y, salt + 3);
  const double high = 0.05 + 0.1 * lattice_value(x, y, salt + 4);
  const double in_u = u - x * kCell_m - left;
  const double in_v = v - y * kCell_m - top;
  const bool inside = in_u > 0 && in_u < wide && in_v > 0 && in_v < high;
  return inside ? 0.5 * (lattice_value(x, y, salt + 5) - 0.5) : 0;
}

}  // namespace

Vec3 Scene::hit(const Vec3& origin, const Vec3& direction) const {
  const Vec3 from = origin + options_.stand;
  double nearest = std::numeric_limits<double>::infinity();
  for (int axis = 0; axis < 3; ++axis) {
    if (std::abs(direction[axis]) < 1e-12) continue;
    const double wall = std::copysign(options_.half_size[axis], direction[axis]);
    nearest = std::min(nearest, (wall - from[axis]) / direction[axis]);
  }
  return origin + nearest * direction;
}

double Scene::brightness(const Vec3& point) const {
  const Vec3 p = point + options_.stand;
  int axis = 0;
  (options_.half_size - p.cwiseAbs()).minCoeff(&axis);
  const double u = p[(axis + 1) % 3];
  const double v = p[(axis + 2) % 3];
  const auto salt = static_cast<std::uint64_t>(10 * (2 * axis + (p[axis] > 0 ? 1 : 0)) + 100);
  double value = 0.45;
  double contrast = options_.grain_contrast;
  for (double wave = options_.grain_m; wave < 20 * options_.grain_m; wave *= 2.3) {
    value += contrast * noise(u / wave, v / wave, salt + static_cast<std::uint64_t>(wave * 1000));
  }
  if (options_.panels) value += panel(u, v, salt);
  return std::clamp(value, 0.02, 0.98);
}

Image photograph(const Scene& scene, const MountedLens& mounted, const ExposureOptions& exposure) {
  const Lens& lens = mounted.lens;
  Image frame(lens.width_px, lens.height_px, Channels::grey, SampleType::f32);
  parallel_for(0, lens.height_px, [&](int y) {
    Random random(exposure.stream * 100003 + static_cast<std::uint64_t>(y));
    const auto row = frame.row<float>(y);
    for (int x = 0; x < lens.width_px; ++x) {
      const double noise = random.normal(exposure.noise);
      const auto middle = lens.unproject(Vec2(x + 0.5, y + 0.5));
      if (!middle || angle_between(*middle, Vec3::UnitZ()) < exposure.least_theta_rad) continue;
      double sum = 0;
      int count = 0;
      for (int k = 0; k < exposure.samples * exposure.samples; ++k) {
        const Vec2 px(x + (k % exposure.samples + 0.5) / exposure.samples,
                      y + (k / exposure.samples + 0.5) / exposure.samples);
        const auto direction = mounted.direction_in_rig(px);
        if (!direction) continue;
        sum += scene.brightness(scene.hit(mounted.ray_origin_in_rig(*direction), *direction));
        ++count;
      }
      if (count == 0) continue;
      row[static_cast<std::size_t>(x)] = static_cast<float>(exposure.gain * sum / count + noise);
    }
  });
  return frame;
}

std::optional<Vec2> partner_of(const Scene& scene, const MountedLens& a, const MountedLens& b,
                               const Vec2& px_a, const Vec2& depth_px_a) {
  const auto direction = a.direction_in_rig(px_a);
  const auto towards = a.direction_in_rig(depth_px_a);
  if (!direction || !towards) return std::nullopt;
  const Vec3 start = a.ray_origin_in_rig(*towards);
  const double distance = (scene.hit(start, *towards) - start).norm();
  const Vec3 point = a.ray_origin_in_rig(*direction) + distance * *direction;
  return b.project_point(point.normalized(), 1 / point.norm());
}

}  // namespace seamwright::test
