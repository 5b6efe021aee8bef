#include "features/guided_match.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>

#include "features/gated_match.h"

namespace seamwright {

namespace {

constexpr double kNoRival_rad = rad_from_deg(1.2);  // as near as this is the same place
constexpr double kLeastSine = 0.1;  // of the angle to an epipole: nearer, every circle is near

// The keys of b by the angle around the way between the stands at which their rays lie.
class Circles {
 public:
  Circles(const std::vector<SeenKey>& b, const RelativePose& b_from_a) {
    axis_ = b_from_a.translation.normalized();
    side_ = axis_.unitOrthogonal();
    up_ = axis_.cross(side_);
    for (std::size_t j = 0; j < b.size(); ++j)
      by_angle_.emplace_back(angle_of(b[j].ray.direction), j);
    std::sort(by_angle_.begin(), by_angle_.end());
  }

  // Calls `take(j)` for every key within `width_rad` of the angle of a direction, in b's frame.
  template <typename Take>
  void near(const Vec3& direction, double width_rad, Take&& take) const {
    const double middle = angle_of(direction);
    for (const double turn : {-2 * kPi, 0.0, 2 * kPi}) {
      const double from = middle + turn - width_rad;
      auto at =
          std::lower_bound(by_angle_.begin(), by_angle_.end(), std::pair(from, std::size_t{0}));
      for (; at != by_angle_.end() && at->first <= middle + turn + width_rad; ++at) {
        take(at->second);
      }
    }
  }

  [[nodiscard]] double sine_of(const Vec3& direction) const {
    return axis_.cross(direction).norm();
  }

 private:
  [[nodiscard]] double angle_of(const Vec3& direction) const {
    return std::atan2(up_.dot(direction), side_.dot(direction));
  }

  Vec3 axis_ = Vec3::UnitZ();
  Vec3 side_ = Vec3::UnitX();
  Vec3 up_ = Vec3::UnitY();
  std::vector<std::pair<double, std::size_t>> by_angle_;
};

double farthest_pupil(const Rig& rig) {
  double farthest = 0;
  for (const MountedLens& lens : rig.lenses) farthest = std::max(farthest, lens.pupil.norm());
  return farthest;
}

}  // namespace

std::vector<KeyPair> match_guided(const ShotKeys& keys_a, const ShotKeys& keys_b, const Rig& rig,
                                  const RelativePose& b_from_a, const GuidedMatchOptions& options) {
  const std::vector<SeenKey> a = seen_keys(keys_a, rig);
  const std::vector<SeenKey> b = seen_keys(keys_b, rig);
  const Circles circles(b, b_from_a);
  const double way = b_from_a.translation.norm();
  // The circles are those of the rigs' origins, the rays begin at the pupils.
  const double pupils_rad = 2 * std::asin(std::min(1.0, farthest_pupil(rig) / way));
  const double widest_log = std::log(options.most_size_misfit);
  const auto size_of = [](const ShotKeys& shot, const SeenKey& seen) {
    return static_cast<double>(shot.keys[static_cast<std::size_t>(seen.key)].size_rad);
  };
  const auto allowed = [&](std::size_t i, std::vector<std::size_t>& partners) {
    const Vec3 turned = b_from_a.rotation * a[i].ray.direction;
    const double sine = circles.sine_of(turned);
    if (sine < kLeastSine) return;
    circles.near(turned, (options.gate_rad + pupils_rad) / kLeastSine, [&](std::size_t j) {
      if (circles.sine_of(b[j].ray.direction) < kLeastSine) return;
      const RayPair pair{a[i].ray, b[j].ray};
      const auto off = epipolar_residual(b_from_a, pair);
      if (!off || std::abs(*off) > options.gate_rad) return;
      const auto depths = ray_depths(b_from_a, pair);
      if (!depths || !(depths->a > 0) || !(depths->b > 0)) return;
      const double sizes = size_of(keys_a, a[i]) * depths->a / (size_of(keys_b, b[j]) * depths->b);
      if (std::abs(std::log(sizes)) > widest_log) return;
      partners.push_back(j);
    });
  };
  return match_allowed({keys_a, a}, {keys_b, b}, allowed, options.max_ratio, kNoRival_rad);
}

}  // namespace seamwright
