#include "tests/seams/board_room.h"

#include <algorithm>
#include <cmath>

#include "base/parallel.h"
#include "tests/support/random.h"

namespace seamwright::test {

namespace {

constexpr int kSamples = 2;  // rays a pixel along each axis

// IEC 61966-2-1, without its upper limit.
double srgb_code(double linear) {
  return linear <= 0.0031308 ? 12.92 * linear : 1.055 * std::pow(linear, 1 / 2.4) - 0.055;
}

}  // namespace

BoardRoom::Hit BoardRoom::hit(const Vec3& origin, const Vec3& direction) const {
  Hit found;
  found.point = walls_.hit(origin, direction);
  found.brightness = walls_.brightness(found.point);
  double nearest = (found.point - origin).norm();
  for (const Board& board : boards_) {
    const Vec3 normal = board.middle.normalized();
    const double towards = direction.dot(normal);
    if (towards <= 0) continue;
    const double distance = (board.middle - origin).dot(normal) / towards;
    if (distance >= nearest) continue;
    const Vec3 wide = normal.unitOrthogonal();
    const Vec3 off = origin + distance * direction - board.middle;
    const double u = off.dot(wide);
    const double v = off.dot(normal.cross(wide));
    if (std::abs(u) > board.half_wide_m || std::abs(v) > board.half_high_m) continue;
    nearest = distance;
    found.point = origin + distance * direction;
    found.brightness = cloth_.brightness(Vec3(9, u + 2 * board.middle.x(), v));
  }
  return found;
}

Image photograph(const BoardRoom& room, const MountedLens& mounted, const RoomExposure& exposure) {
  const Lens& lens = mounted.lens;
  Image frame(lens.width_px, lens.height_px, Channels::rgb, SampleType::f32);
  const double gain = std::exp2(exposure.ev);
  const double cast[3] = {gain * exposure.red, gain, gain * exposure.blue};
  parallel_for(0, lens.height_px, [&](int y) {
    Random random(exposure.stream * 100003 + static_cast<std::uint64_t>(y));
    const auto row = frame.row<float>(y);
    for (int x = 0; x < lens.width_px; ++x) {
      const auto middle = lens.unproject(Vec2(x + 0.5, y + 0.5));
      if (!middle || angle_between(*middle, Vec3::UnitZ()) < exposure.least_theta_rad) {
        continue;
      }
      double sum = 0;
      int count = 0;
      for (int k = 0; k < kSamples * kSamples; ++k) {
        const Vec2 px(x + (k % kSamples + 0.5) / kSamples, y + (k / kSamples + 0.5) / kSamples);
        const auto direction = mounted.direction_in_rig(px);
        if (!direction) continue;
        sum += room.hit(mounted.ray_origin_in_rig(*direction), *direction).brightness;
        ++count;
      }
      if (count == 0) continue;
      const double code = sum / count;
      for (int channel = 0; channel < 3; ++channel) {
        const double light = cast[channel] * code * code;  // a scene of square-root codes
        row[static_cast<std::size_t>(3 * x + channel)] =
            static_cast<float>(srgb_code(light) + random.normal(exposure.noise));
      }
    }
  });
  return frame;
}

double true_inverse(const BoardRoom& room, const MountedLens& lens, const Vec3& middle,
                    const RibbonGrid& grid, const Vec2& px) {
  const Vec3 ray = grid.direction(px);
  return 1 / (room.hit(lens.ray_origin_in_rig(ray), ray).point - middle).norm();
}

bool seen_by_both(const BoardRoom& room, const MountedLens& from, const MountedLens& to,
                  const RibbonGrid& grid, const Vec2& px) {
  const Vec3 ray = grid.direction(px);
  const Vec3 point = room.hit(from.ray_origin_in_rig(ray), ray).point;
  const Vec3 back = (point - to.pupil).normalized();
  if (!to.project_direction(back)) return false;
  const Vec3 there = room.hit(to.ray_origin_in_rig(back), back).point;
  return (there - point).norm() < 0.02 * point.norm();
}

}  // namespace seamwright::test
