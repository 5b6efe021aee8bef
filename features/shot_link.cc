#include "features/shot_link.h"

#include <algorithm>
#include <cstddef>
#include <set>
#include <tuple>

#include "features/descriptor_match.h"
#include "features/even_spread.h"

namespace seamwright {

namespace {

constexpr int kCoarseBands = 6;  // 72 cells of the sphere, about 30° across

std::vector<RayPair> rays_of(const std::vector<KeyPair>& matches, const ShotKeys& a,
                             const ShotKeys& b, const Rig& rig) {
  const auto ray = [&](const ShotKeys& shot, int index) {
    const SphereKey& key = shot.keys[static_cast<std::size_t>(index)];
    return ray_of(rig, key.lens, key.px).value_or(Ray{});  // blocks hold only what the rig sees
  };
  std::vector<RayPair> rays;
  rays.reserve(matches.size());
  for (const KeyPair& match : matches) rays.push_back({ray(a, match.a), ray(b, match.b)});
  return rays;
}

// Cells of the sphere that the inliers lie in, in the shot where they are fewer.
int cells_covered(const std::vector<RayPair>& rays, const std::vector<bool>& inlier) {
  std::set<int> cells_a;
  std::set<int> cells_b;
  for (std::size_t i = 0; i < rays.size(); ++i) {
    if (!inlier[i]) continue;
    cells_a.insert(sphere_cell(rays[i].a.direction, kCoarseBands));
    cells_b.insert(sphere_cell(rays[i].b.direction, kCoarseBands));
  }
  return static_cast<int>(std::min(cells_a.size(), cells_b.size()));
}

bool worth_it(const ShotKeys& a, const ShotKeys& b, const Rig& rig, const LinkOptions& options) {
  const auto matches = match_shots(a, b, rig, options.max_ratio, options.first_keys);
  PoseOptions pose = options.pose;
  pose.least_inliers = options.first_inliers;
  return estimate_pose(rays_of(matches, a, b, rig), pose).has_value();
}

}  // namespace

LinkOptions LinkOptions::cold_start(double rig_error_rad) {
  LinkOptions options;
  options.pose.threshold_rad = std::max(options.pose.threshold_rad, rig_error_rad);
  return options;
}

std::vector<KeyPair> match_shots(const ShotKeys& a, const ShotKeys& b, const Rig& rig,
                                 double max_ratio, int strongest) {
  std::vector<KeyBlock> blocks_b;
  for (int lens = 0; lens < rig.lens_count(); ++lens) {
    blocks_b.push_back(key_block(b, rig, lens, strongest));
  }
  std::vector<KeyPair> matches;
  for (int lens = 0; lens < rig.lens_count(); ++lens) {
    const KeyBlock block_a = key_block(a, rig, lens, strongest);
    for (const KeyBlock& block_b : blocks_b) {
      const auto found = match_blocks(block_a, block_b, max_ratio);
      matches.insert(matches.end(), found.begin(), found.end());
    }
  }
  std::sort(matches.begin(), matches.end(), [](const KeyPair& left, const KeyPair& right) {
    return std::tuple(left.a, left.b) < std::tuple(right.a, right.b);
  });
  return matches;
}

std::optional<Ray> ray_of(const Rig& rig, int lens, const Vec2& px) {
  const MountedLens& mounted = rig.lenses[static_cast<std::size_t>(lens)];
  const auto direction = mounted.direction_in_rig(px);
  if (!direction) return std::nullopt;
  return Ray{mounted.ray_origin_in_rig(*direction), *direction};
}

std::optional<ShotLink> link_shots(const ShotKeys& keys_a, const ShotKeys& keys_b, int shot_a,
                                   int shot_b, const Rig& rig, const LinkOptions& options) {
  if (options.first_keys > 0 && !worth_it(keys_a, keys_b, rig, options)) return std::nullopt;
  const auto matches = match_shots(keys_a, keys_b, rig, options.max_ratio);
  const auto rays = rays_of(matches, keys_a, keys_b, rig);
  const auto estimate = estimate_pose(rays, options.pose);
  if (!estimate || cells_covered(rays, estimate->inlier) < options.least_cells) {
    return std::nullopt;
  }
  ShotLink link{.shot_a = shot_a,
                .shot_b = shot_b,
                .b_from_a = estimate->pose,
                .distance_sigma = estimate->distance_sigma,
                .matched = static_cast<int>(matches.size()),
                .sigma_rad = estimate->sigma_rad,
                .parallax_rad = estimate->parallax_rad};
  for (std::size_t i = 0; i < matches.size(); ++i) {
    if (estimate->inlier[i]) link.matches.push_back(matches[i]);
  }
  return link;
}

}  // namespace seamwright
