#include "features/gated_match.h"

#include <cmath>
#include <optional>

#include "base/parallel.h"

namespace seamwright {

namespace {

struct KeyCandidate {
  std::size_t other = 0;
  int distance = 0;
};

// The best candidate, if it stands out against every other place.
std::optional<std::size_t> winner(const std::vector<KeyCandidate>& candidates,
                                  const std::vector<SeenKey>& others, double max_ratio,
                                  double same_place_cosine) {
  const KeyCandidate* best = nullptr;
  for (const KeyCandidate& candidate : candidates) {
    if (best == nullptr || candidate.distance < best->distance) best = &candidate;
  }
  if (best == nullptr) return std::nullopt;
  const Vec3& place = others[best->other].ray.direction;
  for (const KeyCandidate& candidate : candidates) {
    if (place.dot(others[candidate.other].ray.direction) > same_place_cosine) continue;
    if (best->distance >= max_ratio * max_ratio * candidate.distance) return std::nullopt;
  }
  return best->other;
}

}  // namespace

std::vector<SeenKey> seen_keys(const ShotKeys& shot, const Rig& rig, int lens) {
  std::vector<SeenKey> seen;
  for (int i = 0; i < static_cast<int>(shot.keys.size()); ++i) {
    const SphereKey& key = shot.keys[static_cast<std::size_t>(i)];
    if (lens >= 0 && key.lens != lens) continue;
    if (const auto ray = ray_of(rig, key.lens, key.px)) seen.push_back({i, *ray});
  }
  return seen;
}

std::vector<KeyPair> match_allowed(const MatchSide& a, const MatchSide& b,
                                   const AllowedKeys& allowed, double max_ratio,
                                   double same_place_rad) {
  const double same = std::cos(same_place_rad);
  std::vector<std::vector<KeyCandidate>> of_a(a.keys.size());
  parallel_for(0, static_cast<int>(a.keys.size()), [&](int at) {
    const auto i = static_cast<std::size_t>(at);
    std::vector<std::size_t> partners;
    allowed(i, partners);
    for (const std::size_t j : partners) {
      of_a[i].push_back({j, distance(a.descriptor(i), b.descriptor(j))});
    }
  });
  std::vector<std::vector<KeyCandidate>> of_b(b.keys.size());
  for (std::size_t i = 0; i < of_a.size(); ++i) {
    for (const KeyCandidate& candidate : of_a[i]) {
      of_b[candidate.other].push_back({i, candidate.distance});
    }
  }
  std::vector<KeyPair> matches;
  for (std::size_t i = 0; i < of_a.size(); ++i) {
    const auto forth = winner(of_a[i], b.keys, max_ratio, same);
    if (forth && winner(of_b[*forth], a.keys, max_ratio, same) == i) {
      matches.push_back({a.keys[i].key, b.keys[*forth].key});
    }
  }
  return matches;
}

}  // namespace seamwright
