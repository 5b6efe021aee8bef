#include "solver/tie_point.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "solver/tie_rows.h"

namespace seamwright {

namespace {

constexpr SettleOptions kToTheEnd{.most_steps = 12, .enough = 1e-14};

// A sight as a ray in the world of the tie's network; the origin is relative to the rig of the
// tie's own shot.
struct WorldRay {
  Vec3 direction;
  Vec3 origin_m;
  bool own = true;
};

std::optional<WorldRay> ray_of(const Rig& rig, const Tie& tie, const TieSight& sight,
                               ShotStates shots) {
  const MountedLens& mounted = rig.lenses[static_cast<std::size_t>(sight.lens)];
  const auto direction = mounted.direction_in_rig(sight.px);
  if (!direction) return std::nullopt;
  const int seen = tie.shot_of(sight);
  if (shots.empty()) {
    if (seen != tie.shot) return std::nullopt;
    return WorldRay{*direction, mounted.pupil, true};
  }
  const ShotPose& own = shots[static_cast<std::size_t>(tie.shot)].pose;
  const ShotPose& there = shots[static_cast<std::size_t>(seen)].pose;
  if (seen != tie.shot && (own.network == kNoNetwork || own.network != there.network)) {
    return std::nullopt;
  }
  return WorldRay{there.world_from_rig * *direction,
                  there.position - own.position + there.world_from_rig * mounted.pupil,
                  seen == tie.shot};
}

// ρ that brings the rays of other shots nearest to the direction: each ray r from o wants
// r × (d − ρ o) = 0, linear in ρ.
double inverse_depth_from(const std::vector<WorldRay>& rays, const Vec3& direction) {
  double above = 0;
  double below = 0;
  for (const WorldRay& ray : rays) {
    if (ray.own) continue;
    const Vec3 lever = ray.direction.cross(ray.origin_m);
    above += lever.dot(ray.direction.cross(direction));
    below += lever.squaredNorm();
  }
  return below > 1e-12 ? std::max(0.0, above / below) : 0;
}

}  // namespace

TiePoint locate_tie(const Rig& rig, const Tie& tie, bool free_depth, ShotStates shots) {
  TiePoint point;
  Vec3 own_sum = Vec3::Zero();
  std::vector<WorldRay> rays;
  for (const TieSight& sight : tie.sights) {
    const auto ray = ray_of(rig, tie, sight, shots);
    if (!ray) return point;
    rays.push_back(*ray);
    if (ray->own) own_sum += ray->direction;
  }
  if (tie.sights.size() < 2 || own_sum.norm() < 1e-3) return point;
  const Vec3 in_world = own_sum.normalized();
  if (shots.empty()) {
    point.direction = in_world;
  } else {
    const ShotPose& own = shots[static_cast<std::size_t>(tie.shot)].pose;
    point.direction = own.world_from_rig.conjugate() * in_world;
  }
  if (free_depth) point.inverse_depth = inverse_depth_from(rays, in_world);
  const DepthBelief nothing;
  std::vector<SeeingLens> places;
  std::vector<Mat2> white;
  for (const TieSight& sight : tie.sights) {
    places.push_back(seeing_lens(rig, tie, sight, shots));
    white.push_back(whitener(sight.covariance_px2));
  }
  const SeenTie seen{tie, nothing, places, white};
  if (free_depth) settle(seen, point, kToTheEnd);
  if (!free_depth || point.inverse_depth < 0) {
    point.inverse_depth = 0;
    settle(seen, point, {kToTheEnd.most_steps, kToTheEnd.enough, false});
  }
  point.usable = point.direction.allFinite() && std::isfinite(point.inverse_depth);
  return point;
}

std::optional<Vec2> sight_residual_px(const Rig& rig, const Tie& tie, std::size_t sight,
                                      const TiePoint& point, ShotStates shots) {
  const TieSight& seen = tie.sights[sight];
  const SeeingLens place = seeing_lens(rig, tie, seen, shots);
  if (!place.mounted.lens.project(point_in_lens(place, point))) return std::nullopt;
  return sight_residual(place, seen, point);
}

double tie_chi2(const Rig& rig, const Tie& tie, const TiePoint& point, ShotStates shots) {
  double sum = 0;
  for (const TieSight& sight : tie.sights) {
    const Vec2 residual = sight_residual(seeing_lens(rig, tie, sight, shots), sight, point);
    sum += (whitener(sight.covariance_px2) * residual).squaredNorm();
  }
  return sum;
}

}  // namespace seamwright
