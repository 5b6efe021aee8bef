#include "features/map_join.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <set>
#include <utility>

#include "base/median.h"
#include "base/parallel.h"
#include "features/even_spread.h"

namespace seamwright {

namespace {

constexpr int kCoarseBands = 6;  // 72 cells of the sphere, as links count them

struct StandPair {
  int here = 0;
  int there = 0;
};

class Joiner {
 public:
  Joiner(std::span<const ShotKeys> keys, const Rig& rig, std::span<const ShotLink> links,
         std::vector<PlacedShot> shots, const JoinOptions& options, const ProgressFn& progress)
      : keys_(keys), rig_(rig), links_(links), options_(options), progress_(progress) {
    joined_.shots = std::move(shots);
    for (const ShotLink& link : links) linked_.emplace(link.shot_a, link.shot_b);
  }

  Result<Joined> run() {
    while (const auto pair = options_.between_networks ? next_pair() : std::nullopt) {
      if (!tell(progress_, "joining rooms", 0)) return stopped();
      try_join(pair->first, pair->second);
    }
    if (!tell(progress_, "joining rooms", 0.5)) return stopped();
    link_within();
    return std::move(joined_);
  }

 private:
  static tl::unexpected<Error> stopped() {
    return fail({.kind = ErrorKind::cancelled, .what = "stopped while joining rooms"});
  }

  [[nodiscard]] const PlacedShot& shot_at(int shot) const {
    return joined_.shots[static_cast<std::size_t>(shot)];
  }

  // Two networks that were not tried on each other since either of them grew.
  [[nodiscard]] std::optional<std::pair<int, int>> next_pair() const {
    std::set<int> networks;
    for (const PlacedShot& shot : joined_.shots) {
      if (shot.network >= 0) networks.insert(shot.network);
    }
    for (const int here : networks) {
      for (const int there : networks) {
        if (there > here && !tried_.contains({here, there})) return std::pair(here, there);
      }
    }
    return std::nullopt;
  }

  [[nodiscard]] NetworkMap map_of(int network) const {
    return map_network(keys_, rig_, all_links(), joined_.shots, network);
  }

  [[nodiscard]] std::vector<ShotLink> all_links() const {
    std::vector<ShotLink> all(links_.begin(), links_.end());
    all.insert(all.end(), joined_.links.begin(), joined_.links.end());
    return all;
  }

  void try_join(int number_here, int number_there) {
    tried_.emplace(number_here, number_there);
    JoinTrial trial{.network_here = number_here, .network_there = number_there};
    const NetworkMap here = map_of(number_here);
    const NetworkMap there = map_of(number_there);
    const std::vector<StandPair> pairs = pairs_of(here, there);
    // One pair alone knows its own length by nothing but the pupils.
    if (pairs.size() > 1) try_motions(here, there, pairs, evidence_of(pairs), trial);
    joined_.trials.push_back(trial);
  }

  [[nodiscard]] std::optional<Ray> ray_of_key(const KeyOfShot& sight) const {
    const SphereKey& key =
        keys_[static_cast<std::size_t>(sight.shot)].keys[static_cast<std::size_t>(sight.key)];
    const auto ray = ray_of(rig_, key.lens, key.px);
    if (!ray) return std::nullopt;
    return shot_at(sight.shot).ray_in_world(*ray);
  }

  [[nodiscard]] static std::vector<StandPair> pairs_of(const NetworkMap& here,
                                                       const NetworkMap& there) {
    std::vector<StandPair> pairs;
    for (const int a : here.shots) {
      for (const int b : there.shots) pairs.push_back({a, b});
    }
    return pairs;
  }

  // Matches of one pair by descriptors alone, and the motions that many of them agree on.
  struct PairEvidence {
    std::vector<KeyPair> matches;     // a of the stand here
    std::vector<Crossing> crossings;  // a match each
    std::vector<MapStart> starts;
  };

  [[nodiscard]] std::vector<PairEvidence> evidence_of(const std::vector<StandPair>& pairs) const {
    std::vector<PairEvidence> evidence(pairs.size());
    parallel_for(0, static_cast<int>(pairs.size()), [&](int i) {
      const auto at = static_cast<std::size_t>(i);
      evidence[at] = evidence_of(pairs[at]);
    });
    return evidence;
  }

  [[nodiscard]] PairEvidence evidence_of(const StandPair& pair) const {
    PairEvidence evidence;
    const PlacedShot& a = shot_at(pair.here);
    const PlacedShot& b = shot_at(pair.there);
    const ShotKeys& keys_a = keys_[static_cast<std::size_t>(pair.here)];
    const ShotKeys& keys_b = keys_[static_cast<std::size_t>(pair.there)];
    std::set<std::pair<int, int>> sure;
    for (const KeyPair& match : match_shots(keys_a, keys_b, rig_, options_.sure_ratio)) {
      sure.emplace(match.a, match.b);
    }
    std::vector<Crossing> in_rigs;
    std::vector<int> drawn;
    for (const KeyPair& match : match_shots(keys_a, keys_b, rig_, options_.max_ratio)) {
      const SphereKey& key_a = keys_a.keys[static_cast<std::size_t>(match.a)];
      const SphereKey& key_b = keys_b.keys[static_cast<std::size_t>(match.b)];
      const auto ray_a = ray_of(rig_, key_a.lens, key_a.px);
      const auto ray_b = ray_of(rig_, key_b.lens, key_b.px);
      if (!ray_a || !ray_b) continue;
      if (sure.contains({match.a, match.b})) drawn.push_back(static_cast<int>(in_rigs.size()));
      in_rigs.push_back({{*ray_a, *ray_b}, key_a.size_rad, key_b.size_rad});
      evidence.matches.push_back(match);
      evidence.crossings.push_back(
          {{a.ray_in_world(*ray_a), b.ray_in_world(*ray_b)}, key_a.size_rad, key_b.size_rad});
    }
    for (const RelativePose& found : find_pair_motions(in_rigs, drawn, options_.pose)) {
      const Quat turn = b.world_from_rig * found.rotation * a.world_from_rig.conjugate();
      evidence.starts.push_back({turn.normalized(), b.position - turn * a.position,
                                 b.world_from_rig * found.translation});
    }
    return evidence;
  }

  // What pairs of stands say of a motion, those with most votes first.
  void try_motions(const NetworkMap& here, const NetworkMap& there,
                   const std::vector<StandPair>& pairs, const std::vector<PairEvidence>& evidence,
                   JoinTrial& trial) {
    std::vector<Crossing> all;
    for (const PairEvidence& of_pair : evidence) {
      all.insert(all.end(), of_pair.crossings.begin(), of_pair.crossings.end());
    }
    trial.matches = static_cast<int>(all.size());
    std::vector<MapPose> poses;
    for (const PairEvidence& of_pair : evidence) {
      for (const MapStart& start : of_pair.starts) {
        if (auto pose = find_map_pose(all, start, options_.pose)) poses.push_back(std::move(*pose));
      }
    }
    std::stable_sort(poses.begin(), poses.end(),
                     [](const MapPose& a, const MapPose& b) { return a.inliers > b.inliers; });
    for (const MapPose& pose : poses) {
      if (trial.joined || pose.inliers < least_inliers(trial.matches)) return;
      join_by(pose, here, there, pairs, evidence, trial);
    }
  }

  [[nodiscard]] int least_inliers(int matches) const {
    return options_.least_inliers + static_cast<int>(options_.least_share * matches);
  }

  [[nodiscard]] bool fits(const JoinTrial& trial) const {
    const BlockedLines& seen = trial.conflicts;
    if (seen.lines < options_.least_lines) return trial.cells >= options_.least_cells;
    return seen.blocked < options_.most_blocked * seen.lines;
  }

  void join_by(const MapPose& pose, const NetworkMap& here, const NetworkMap& there,
               const std::vector<StandPair>& pairs, const std::vector<PairEvidence>& evidence,
               JoinTrial& trial) {
    const MapMotion& motion = pose.here_from_there;
    trial.inliers = pose.inliers;
    const std::vector<std::vector<KeyPair>> right = inliers_of(pose, evidence, trial);
    const BlockedLines seen_here = blocked_lines(here, there, joined_.shots, motion);
    const BlockedLines seen_there = blocked_lines(there, here, joined_.shots, motion.inverse());
    trial.conflicts = {seen_here.lines + seen_there.lines, seen_here.blocked + seen_there.blocked};
    if (trial.elsewhere < options_.least_elsewhere || !fits(trial)) return;
    std::vector<PlacedShot> before = joined_.shots;
    for (const int shot : there.shots) {
      PlacedShot& placed = joined_.shots[static_cast<std::size_t>(shot)];
      placed.position = motion * placed.position;
      placed.world_from_rig = (motion.rotation * placed.world_from_rig).normalized();
      placed.network = trial.network_here;
    }
    NetworkMap both = here;
    both.shots.insert(both.shots.end(), there.shots.begin(), there.shots.end());
    for (const MapPoint& point : there.points) {
      for (const KeyOfShot& sight : point.sights) {
        both.point_of[sight] = static_cast<int>(both.points.size());
      }
      both.points.push_back({motion * point.position, point.sights});
    }
    std::vector<ShotLink> links;
    trial.guided = 0;
    for (std::size_t i = 0; i < pairs.size(); ++i) {
      const auto link = guided_link(pairs[i].here, pairs[i].there, both, right[i]);
      if (!link) continue;
      trial.guided += static_cast<int>(link->matches.size());
      links.push_back(*link);
    }
    trial.joined = trial.guided >= options_.least_matches_of_join;
    if (!trial.joined) {
      joined_.shots = std::move(before);
      return;
    }
    for (ShotLink& link : links) keep(std::move(link));
    // What was refused before may see more of the larger map.
    std::erase_if(tried_, [&](const auto& pair) {
      return pair.first == trial.network_here || pair.second == trial.network_here;
    });
  }

  // The matches of each pair that a motion makes meet.
  static std::vector<std::vector<KeyPair>> inliers_of(const MapPose& pose,
                                                      const std::vector<PairEvidence>& evidence,
                                                      JoinTrial& trial) {
    std::vector<std::vector<KeyPair>> right(evidence.size());
    std::set<int> cells;
    std::size_t most = 0;
    std::size_t k = 0;
    for (std::size_t i = 0; i < evidence.size(); ++i) {
      for (std::size_t m = 0; m < evidence[i].matches.size(); ++m, ++k) {
        if (!pose.inlier[k]) continue;
        right[i].push_back(evidence[i].matches[m]);
        cells.insert(sphere_cell(evidence[i].crossings[m].rays.b.direction, kCoarseBands));
      }
      most = std::max(most, right[i].size());
    }
    trial.elsewhere = pose.inliers - static_cast<int>(most);
    trial.cells = static_cast<int>(cells.size());
    return right;
  }

  void keep(ShotLink link) {
    linked_.emplace(link.shot_a, link.shot_b);
    const auto before = [](const ShotLink& x, const ShotLink& y) {
      return std::pair(x.shot_a, x.shot_b) < std::pair(y.shot_a, y.shot_b);
    };
    joined_.links.insert(std::upper_bound(joined_.links.begin(), joined_.links.end(), link, before),
                         std::move(link));
  }

  void link_within() {
    std::set<int> networks;
    for (const PlacedShot& shot : joined_.shots) {
      if (shot.network >= 0) networks.insert(shot.network);
    }
    for (const int network : networks) {
      const NetworkMap map = map_of(network);
      for (std::size_t i = 0; i < map.shots.size(); ++i) {
        for (std::size_t j = i + 1; j < map.shots.size(); ++j) {
          if (linked_.contains({map.shots[i], map.shots[j]})) continue;
          if (auto link = guided_link(map.shots[i], map.shots[j], map, {})) keep(std::move(*link));
        }
      }
    }
  }

  // A match must lie where a point that one of its keys is known by says; two points that both keys
  // are known by must be one.
  [[nodiscard]] bool map_agrees(const NetworkMap& map, int a, int b, const KeyPair& pair) const {
    const auto fits = [&](const KeyOfShot& own, const KeyOfShot& other) -> std::optional<bool> {
      const auto at = map.point_of.find(own);
      if (at == map.point_of.end()) return std::nullopt;
      const auto ray = ray_of_key(other);
      const Vec3& point = map.points[static_cast<std::size_t>(at->second)].position;
      return ray && angle_between(point - ray->origin, ray->direction) < options_.most_map_miss_rad;
    };
    const auto forth = fits({a, pair.a}, {b, pair.b});
    const auto back = fits({b, pair.b}, {a, pair.a});
    return (forth || back) && forth.value_or(true) && back.value_or(true);
  }

  // Of matches along circles those that the map agrees with, and `known` ones, whose a is of `one`.
  [[nodiscard]] std::optional<ShotLink> guided_link(int one, int other, const NetworkMap& map,
                                                    const std::vector<KeyPair>& known) const {
    ShotLink link;
    link.shot_a = std::min(one, other);
    link.shot_b = std::max(one, other);
    link.b_from_a = motion_between(shot_at(link.shot_a), shot_at(link.shot_b));
    const ShotKeys& keys_a = keys_[static_cast<std::size_t>(link.shot_a)];
    const ShotKeys& keys_b = keys_[static_cast<std::size_t>(link.shot_b)];
    std::set<std::pair<int, int>> chosen;
    for (const KeyPair& pair : known) {
      chosen.insert(one < other ? std::pair(pair.a, pair.b) : std::pair(pair.b, pair.a));
    }
    const auto guided = match_guided(keys_a, keys_b, rig_, link.b_from_a, options_.guided);
    for (const KeyPair& pair : guided) {
      if (map_agrees(map, link.shot_a, link.shot_b, pair)) chosen.emplace(pair.a, pair.b);
    }
    const int least = known.empty() ? options_.least_matches : options_.least_known;
    if (static_cast<int>(chosen.size()) < least) return std::nullopt;
    std::vector<double> misses;
    std::vector<double> parallaxes;
    for (const auto& [a, b] : chosen) {
      link.matches.push_back({a, b});
      const SphereKey& key_a = keys_a.keys[static_cast<std::size_t>(a)];
      const SphereKey& key_b = keys_b.keys[static_cast<std::size_t>(b)];
      const auto ray_a = ray_of(rig_, key_a.lens, key_a.px);
      const auto ray_b = ray_of(rig_, key_b.lens, key_b.px);
      if (!ray_a || !ray_b) continue;
      const RayPair rays{*ray_a, *ray_b};
      misses.push_back(std::abs(epipolar_residual(link.b_from_a, rays).value_or(0)));
      parallaxes.push_back(
          angle_between(link.b_from_a.rotation * ray_a->direction, ray_b->direction));
    }
    link.matched = static_cast<int>(guided.size());
    link.guided = true;
    link.distance_sigma = options_.pose.scale_sigma;
    link.sigma_rad = 1.4826 * median(std::move(misses));
    link.parallax_rad = median(std::move(parallaxes));
    return link;
  }

  std::span<const ShotKeys> keys_;
  const Rig& rig_;
  std::span<const ShotLink> links_;
  const JoinOptions& options_;
  const ProgressFn& progress_;
  std::set<std::pair<int, int>> linked_;
  std::set<std::pair<int, int>> tried_;
  Joined joined_;
};

// Does every link join two shots that stand in one network?
bool covers(std::span<const ShotLink> links, std::span<const PlacedShot> shots) {
  return std::all_of(links.begin(), links.end(), [&](const ShotLink& link) {
    const int network = shots[static_cast<std::size_t>(link.shot_a)].network;
    return network >= 0 && network == shots[static_cast<std::size_t>(link.shot_b)].network;
  });
}

}  // namespace

Result<Joined> join_networks(std::span<const ShotKeys> keys, const Rig& rig,
                             std::span<const ShotLink> links, std::vector<PlacedShot> shots,
                             const JoinOptions& options, const ProgressFn& progress) {
  return Joiner(keys, rig, links, std::move(shots), options, progress).run();
}

Result<std::optional<Joined>> RoundJoins::round(std::span<const ShotKeys> keys, const Rig& rig,
                                                std::span<const ShotLink> links,
                                                std::vector<PlacedShot> shots, JoinOptions options,
                                                const ProgressFn& progress) {
  options.between_networks = options.between_networks && !tried_;
  auto joined = join_networks(keys, rig, links, std::move(shots), options, progress);
  if (!joined) return tl::unexpected(joined.error());
  if (!covers(links, joined->shots)) return std::nullopt;
  tried_ = true;
  return std::move(*joined);
}

}  // namespace seamwright
