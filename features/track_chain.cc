#include "features/track_chain.h"

#include <algorithm>
#include <cstddef>
#include <map>
#include <numeric>
#include <optional>
#include <utility>

namespace seamwright {

namespace {

constexpr double kSameKey_px = 2;

class Components {
 public:
  explicit Components(std::size_t count) : parent_(count) {
    std::iota(parent_.begin(), parent_.end(), std::size_t{0});
  }

  std::size_t root(std::size_t node) {
    while (parent_[node] != node) {
      parent_[node] = parent_[parent_[node]];
      node = parent_[node];
    }
    return node;
  }

  // The smaller root stays: the same components in whatever order they are joined.
  void join(std::size_t a, std::size_t b) {
    const std::size_t one = root(a);
    const std::size_t other = root(b);
    parent_[std::max(one, other)] = std::min(one, other);
  }

 private:
  std::vector<std::size_t> parent_;
};

// One sight a lens and shot; empty where a lens sees two places.
std::optional<std::vector<KeyOfShot>> without_doubles(std::span<const ShotKeys> keys,
                                                      const std::vector<KeyOfShot>& sights) {
  const auto key_of = [&](const KeyOfShot& sight) -> const SphereKey& {
    return keys[static_cast<std::size_t>(sight.shot)].keys[static_cast<std::size_t>(sight.key)];
  };
  std::map<std::pair<int, int>, KeyOfShot> by_frame;
  for (const KeyOfShot& sight : sights) {
    const SphereKey& key = key_of(sight);
    const auto [at, fresh] = by_frame.try_emplace({sight.shot, key.lens}, sight);
    if (fresh) continue;
    const SphereKey& other = key_of(at->second);
    if ((key.px - other.px).norm() > kSameKey_px) return std::nullopt;
    if (key.response > other.response) at->second = sight;
  }
  std::vector<KeyOfShot> single;
  for (const auto& [frame, sight] : by_frame) single.push_back(sight);
  std::sort(single.begin(), single.end());
  return single;
}

}  // namespace

Chains chain(std::span<const ShotKeys> keys, std::span<const ShotLink> links,
             std::span<const std::vector<KeyPair>> within) {
  std::vector<std::size_t> first(1, 0);  // node of each shot's key 0
  for (const ShotKeys& shot : keys) first.push_back(first.back() + shot.keys.size());
  const auto node = [&](int shot, int key) {
    return first[static_cast<std::size_t>(shot)] + static_cast<std::size_t>(key);
  };
  Components components(first.back());
  for (const ShotLink& link : links) {
    for (const KeyPair& match : link.matches) {
      components.join(node(link.shot_a, match.a), node(link.shot_b, match.b));
    }
  }
  for (int shot = 0; shot < static_cast<int>(within.size()); ++shot) {
    for (const KeyPair& match : within[static_cast<std::size_t>(shot)]) {
      components.join(node(shot, match.a), node(shot, match.b));
    }
  }
  std::map<std::size_t, std::vector<KeyOfShot>> members;
  for (int shot = 0; shot < static_cast<int>(keys.size()); ++shot) {
    const int count = static_cast<int>(keys[static_cast<std::size_t>(shot)].keys.size());
    for (int key = 0; key < count; ++key) {
      members[components.root(node(shot, key))].push_back({shot, key});
    }
  }
  Chains chains;
  for (const auto& [root, sights] : members) {
    if (sights.front().shot == sights.back().shot) continue;
    auto single = without_doubles(keys, sights);
    if (single) {
      chains.tracks.push_back(std::move(*single));
    } else {
      ++chains.conflicts;
    }
  }
  return chains;
}

}  // namespace seamwright
