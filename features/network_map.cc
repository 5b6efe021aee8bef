#include "features/network_map.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>

#include "base/parallel.h"
#include "projection/dense_algebra.h"

namespace seamwright {

namespace {

constexpr double kLeastParallax_rad = rad_from_deg(2);
constexpr double kMostMiss_rad = rad_from_deg(0.6);
constexpr double kBeside_rad = rad_from_deg(3);   // of a line of sight: a surface there blocks it
constexpr double kAtEnd_rad = rad_from_deg(0.6);  // … and of its end
constexpr double kSameDistance = 0.1;             // relative
constexpr double kWellInFront = 0.85;             // of the length of a line
constexpr int kSurface = 3;                       // points that make one

double widest_angle(const std::vector<Ray>& rays) {
  double widest = 0;
  for (std::size_t i = 0; i < rays.size(); ++i) {
    for (std::size_t j = 0; j < i; ++j) {
      widest = std::max(widest, angle_between(rays[i].direction, rays[j].direction));
    }
  }
  return widest;
}

// Where rays come nearest to each other; empty where they do not meet in front of all.
std::optional<Vec3> meeting_of(const std::vector<Ray>& rays) {
  if (rays.size() < 2 || widest_angle(rays) < kLeastParallax_rad) return std::nullopt;
  Mat3 across = Mat3::Zero();
  Vec3 right = Vec3::Zero();
  for (const Ray& ray : rays) {
    const Mat3 off = Mat3::Identity() - ray.direction * ray.direction.transpose();
    across += off;
    right += off * ray.origin;
  }
  const Vec3 point = solve_symmetric(across, right);
  for (const Ray& ray : rays) {
    if (angle_between(point - ray.origin, ray.direction) > kMostMiss_rad) return std::nullopt;
  }
  return point;
}

// The points of a map as one place sees them.
class SeenFrom {
 public:
  SeenFrom(const Vec3& eye, const NetworkMap& map, const MapMotion& motion) {
    for (const MapPoint& point : map.points) {
      const Vec3 towards = motion * point.position - eye;
      distances_.push_back(towards.norm());
      directions_.push_back(towards.normalized());
    }
  }

  // What they say about a line of sight.
  void judge(const Vec3& line, BlockedLines& conflicts) const {
    const double length = line.norm();
    const double beside = std::cos(kBeside_rad) * length;
    const double at_end = std::cos(kAtEnd_rad) * length;
    int passed = 0;
    double farthest = 0;
    for (std::size_t i = 0; i < directions_.size(); ++i) {
      const double along = directions_[i].dot(line);
      if (along < beside) continue;
      const double distance = distances_[i];
      if (along > at_end && std::abs(distance / length - 1) < kSameDistance) return;
      farthest = std::max(farthest, distance);
      ++passed;
    }
    if (passed < kSurface) return;
    ++conflicts.lines;
    conflicts.blocked += farthest < kWellInFront * length ? 1 : 0;
  }

 private:
  std::vector<Vec3> directions_;
  std::vector<double> distances_;
};

}  // namespace

RelativePose motion_between(const PlacedShot& a, const PlacedShot& b) {
  const Quat b_from_world = b.world_from_rig.conjugate();
  return {(b_from_world * a.world_from_rig).normalized(), b_from_world * (a.position - b.position)};
}

NetworkMap map_network(std::span<const ShotKeys> keys, const Rig& rig,
                       std::span<const ShotLink> links, std::span<const PlacedShot> shots,
                       int network) {
  NetworkMap map;
  const auto shot_at = [&](int shot) -> const PlacedShot& {
    return shots[static_cast<std::size_t>(shot)];
  };
  for (int shot = 0; shot < static_cast<int>(shots.size()); ++shot) {
    if (shot_at(shot).network == network) map.shots.push_back(shot);
  }
  std::vector<ShotLink> inside;
  for (const ShotLink& link : links) {
    if (shot_at(link.shot_a).network == network && shot_at(link.shot_b).network == network) {
      inside.push_back(link);
    }
  }
  if (inside.empty()) return map;  // chains go through the keys of all shots
  for (std::vector<KeyOfShot>& sights : chain(keys, inside, {}).tracks) {
    std::vector<Ray> rays;
    for (const KeyOfShot& sight : sights) {
      const SphereKey& key =
          keys[static_cast<std::size_t>(sight.shot)].keys[static_cast<std::size_t>(sight.key)];
      if (const auto ray = ray_of(rig, key.lens, key.px)) {
        rays.push_back(shot_at(sight.shot).ray_in_world(*ray));
      }
    }
    const auto point = meeting_of(rays);
    if (!point) continue;
    for (const KeyOfShot& sight : sights) {
      map.point_of[sight] = static_cast<int>(map.points.size());
    }
    map.points.push_back({*point, std::move(sights)});
  }
  return map;
}

BlockedLines blocked_lines(const NetworkMap& seer, const NetworkMap& other,
                           std::span<const PlacedShot> shots, const MapMotion& seer_from_other) {
  std::vector<BlockedLines> of_shot(seer.shots.size());
  parallel_for(0, static_cast<int>(seer.shots.size()), [&](int at) {
    const int shot = seer.shots[static_cast<std::size_t>(at)];
    const Vec3 eye = shots[static_cast<std::size_t>(shot)].position;
    const SeenFrom others(eye, other, seer_from_other);
    for (const MapPoint& point : seer.points) {
      const bool sees = std::any_of(point.sights.begin(), point.sights.end(),
                                    [&](const KeyOfShot& sight) { return sight.shot == shot; });
      if (sees) others.judge(point.position - eye, of_shot[static_cast<std::size_t>(at)]);
    }
  });
  BlockedLines sum;
  for (const BlockedLines& found : of_shot) {
    sum.lines += found.lines;
    sum.blocked += found.blocked;
  }
  return sum;
}

}  // namespace seamwright
