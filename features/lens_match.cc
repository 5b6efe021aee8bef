#include "features/lens_match.h"

#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>

#include "base/parallel.h"
#include "features/disparity.h"

namespace seamwright {

namespace {

constexpr double kSamePlace_rad = rad_from_deg(0.6);  // as near as this is no rival

struct SeenKey {
  int key = 0;
  Ray ray;
};

std::vector<SeenKey> keys_of(const ShotKeys& shot, const Rig& rig, int lens) {
  std::vector<SeenKey> seen;
  for (int i = 0; i < static_cast<int>(shot.keys.size()); ++i) {
    const SphereKey& key = shot.keys[static_cast<std::size_t>(i)];
    if (key.lens != lens) continue;
    if (const auto ray = ray_of(rig, lens, key.px)) seen.push_back({i, *ray});
  }
  return seen;
}

class Gate {
 public:
  Gate(const Rig& rig, int lens_a, int lens_b, const LensMatchOptions& options)
      : options_(options) {
    const DisparityRange range(rig, lens_a, lens_b, options.nearest_m, options.nearest_baselines);
    widest_ = std::cos(range.widest() + options.slack_rad);
    slack_ = std::cos(options.slack_rad);
  }

  [[nodiscard]] bool lets_through(const Ray& a, const Ray& b) const {
    const double cosine = a.direction.dot(b.direction);
    if (cosine < widest_) return false;
    const RelativePose still{Quat::Identity(), Vec3::Zero()};  // one shot: no motion
    const RayPair pair{a, b};
    const auto sideways = epipolar_residual(still, pair);
    if (sideways && std::abs(*sideways) > options_.sideways_rad) return false;
    if (cosine > slack_) return true;
    const auto depths = ray_depths(still, pair);
    return depths && depths->a > 0 && depths->b > 0;
  }

 private:
  const LensMatchOptions& options_;
  double widest_ = 0;
  double slack_ = 0;
};

struct KeyCandidate {
  std::size_t other = 0;
  int distance = 0;
};

// The best candidate, if it stands out against every other place.
std::optional<std::size_t> winner(const std::vector<KeyCandidate>& candidates,
                                  const std::vector<SeenKey>& others, double max_ratio) {
  const KeyCandidate* best = nullptr;
  for (const KeyCandidate& candidate : candidates) {
    if (best == nullptr || candidate.distance < best->distance) best = &candidate;
  }
  if (best == nullptr) return std::nullopt;
  const double same = std::cos(kSamePlace_rad);
  const Vec3& place = others[best->other].ray.direction;
  for (const KeyCandidate& candidate : candidates) {
    if (place.dot(others[candidate.other].ray.direction) > same) continue;
    if (best->distance >= max_ratio * max_ratio * candidate.distance) return std::nullopt;
  }
  return best->other;
}

void match_pair(const ShotKeys& shot, const Rig& rig, int lens_a, int lens_b,
                const LensMatchOptions& options, std::vector<KeyPair>& matches) {
  const Gate gate(rig, lens_a, lens_b, options);
  const std::vector<SeenKey> keys_a = keys_of(shot, rig, lens_a);
  const std::vector<SeenKey> keys_b = keys_of(shot, rig, lens_b);
  const auto descriptor = [&](const SeenKey& seen) -> const Descriptor& {
    return shot.keys[static_cast<std::size_t>(seen.key)].descriptor;
  };
  std::vector<std::vector<KeyCandidate>> of_a(keys_a.size());
  parallel_for(0, static_cast<int>(keys_a.size()), [&](int i) {
    const SeenKey& a = keys_a[static_cast<std::size_t>(i)];
    for (std::size_t j = 0; j < keys_b.size(); ++j) {
      if (!gate.lets_through(a.ray, keys_b[j].ray)) continue;
      of_a[static_cast<std::size_t>(i)].push_back(
          {j, distance(descriptor(a), descriptor(keys_b[j]))});
    }
  });
  std::vector<std::vector<KeyCandidate>> of_b(keys_b.size());
  for (std::size_t i = 0; i < of_a.size(); ++i) {
    for (const KeyCandidate& candidate : of_a[i]) {
      of_b[candidate.other].push_back({i, candidate.distance});
    }
  }
  for (std::size_t i = 0; i < of_a.size(); ++i) {
    const auto forth = winner(of_a[i], keys_b, options.max_ratio);
    if (forth && winner(of_b[*forth], keys_a, options.max_ratio) == i) {
      matches.push_back({keys_a[i].key, keys_b[*forth].key});
    }
  }
}

}  // namespace

std::vector<KeyPair> match_lenses(const ShotKeys& shot, const Rig& rig,
                                  const LensMatchOptions& options) {
  std::vector<KeyPair> matches;
  for (int a = 0; a < rig.lens_count(); ++a) {
    for (int b = a + 1; b < rig.lens_count(); ++b) match_pair(shot, rig, a, b, options, matches);
  }
  return matches;
}

}  // namespace seamwright
