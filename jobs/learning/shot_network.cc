#include "jobs/learning/shot_network.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "base/median.h"
#include "solver/adjust.h"

namespace seamwright {

namespace {

constexpr double kLeastInverseDepth = 1e-3;  // of a point that tells a distance, per unit
constexpr std::size_t kLeastWitnesses = 8;   // points that must agree on a distance

// The part of a track that `own` and `other` saw; no sights where one of them did not.
Tie between(const Tie& track, int own, int other) {
  Tie part{.shot = own, .sights = {}};
  bool seen_by_own = false;
  bool seen_by_other = false;
  for (const TieSight& sight : track.sights) {
    const int shot = track.shot_of(sight);
    if (shot != own && shot != other) continue;
    (shot == own ? seen_by_own : seen_by_other) = true;
    part.sights.push_back(sight);
    part.sights.back().shot = shot;
  }
  if (!seen_by_own || !seen_by_other) part.sights.clear();
  return part;
}

class Network {
 public:
  Network(const Rig& rig, std::span<const ShotLink> links, std::span<const Tie> tracks,
          std::vector<ShotState>& states)
      : rig_(rig), links_(links), tracks_(tracks), states_(states) {}

  void grow(int first, int number) {
    number_ = number;
    members_ = {first};
    place(first, {Quat::Identity(), Vec3::Zero(), number});
    while (const ShotLink* next = strongest_open_link()) add(*next);
    scale_to_links();
  }

 private:
  [[nodiscard]] bool placed(int shot) const {
    return states_[static_cast<std::size_t>(shot)].pose.network == number_;
  }
  [[nodiscard]] const ShotPose& pose(int shot) const {
    return states_[static_cast<std::size_t>(shot)].pose;
  }
  void place(int shot, const ShotPose& pose) {
    states_[static_cast<std::size_t>(shot)].pose = pose;
  }

  // One end placed, the other not; null when there is none.
  [[nodiscard]] const ShotLink* strongest_open_link() const {
    const ShotLink* best = nullptr;
    for (const ShotLink& link : links_) {
      if (placed(link.shot_a) == placed(link.shot_b)) continue;
      if (best == nullptr || link.matches.size() > best->matches.size()) best = &link;
    }
    return best;
  }

  // The other end of a link as it stands when the link's own length is believed.
  [[nodiscard]] ShotPose pose_by(const ShotLink& link) const {
    const Quat b_from_a = link.b_from_a.rotation;
    const Vec3 shift = link.b_from_a.translation;
    if (placed(link.shot_a)) {
      const ShotPose& a = pose(link.shot_a);
      const Quat world_from_b = a.world_from_rig * b_from_a.conjugate();
      return {world_from_b.normalized(), a.position - world_from_b * shift, number_};
    }
    const ShotPose& b = pose(link.shot_b);
    return {(b.world_from_rig * b_from_a).normalized(), b.position + b.world_from_rig * shift,
            number_};
  }

  void add(const ShotLink& link) {
    const int old_end = placed(link.shot_a) ? link.shot_a : link.shot_b;
    const int new_end = placed(link.shot_a) ? link.shot_b : link.shot_a;
    const ShotPose as_told = pose_by(link);
    place(new_end, as_told);
    const double stretch = stretch_of(old_end, new_end);
    const Vec3 from = pose(old_end).position;
    place(new_end, {as_told.world_from_rig, from + stretch * (as_told.position - from), number_});
    members_.push_back(new_end);
  }

  // How much longer the way between two shots is than the link says, from points that a third,
  // placed shot sees as well; 1 where too few do.
  [[nodiscard]] double stretch_of(int old_end, int new_end) const {
    std::vector<double> ratios;
    for (const Tie& track : tracks_) {
      const Tie by_link = between(track, old_end, new_end);
      if (by_link.sights.empty()) continue;
      for (const int third : members_) {
        const Tie by_network = between(track, old_end, third);
        if (third == old_end || by_network.sights.empty()) continue;
        const TiePoint rough = locate_tie(rig_, by_link, true, states_);
        const TiePoint known = locate_tie(rig_, by_network, true, states_);
        if (!rough.usable || !known.usable) continue;
        if (std::min(rough.inverse_depth, known.inverse_depth) < kLeastInverseDepth) continue;
        ratios.push_back(rough.inverse_depth / known.inverse_depth);
        break;
      }
    }
    return ratios.size() >= kLeastWitnesses ? median(std::move(ratios)) : 1.0;
  }

  // Each link has an opinion on its own length; their weighted mean sizes the network.
  void scale_to_links() {
    double sum = 0;
    double weights = 0;
    for (const ShotLink& link : links_) {
      if (!placed(link.shot_a) || !placed(link.shot_b)) continue;
      const double length = (pose(link.shot_a).position - pose(link.shot_b).position).norm();
      const double said = link.b_from_a.translation.norm();
      if (!(length > 0) || !(said > 0) || !(link.distance_sigma > 0)) continue;
      const double weight = 1 / (link.distance_sigma * link.distance_sigma);
      sum += weight * std::log(said / length);
      weights += weight;
    }
    if (weights <= 0) return;
    for (const int shot : members_) {
      states_[static_cast<std::size_t>(shot)].pose.position *= std::exp(sum / weights);
    }
  }

  const Rig& rig_;
  std::span<const ShotLink> links_;
  std::span<const Tie> tracks_;
  std::vector<ShotState>& states_;
  int number_ = 0;
  std::vector<int> members_;
};

}  // namespace

std::vector<ShotState> place_shots(const Rig& rig, std::span<const ShotLink> links,
                                   std::span<const Tie> tracks, int shots) {
  std::vector<ShotState> states(static_cast<std::size_t>(shots));
  std::vector<char> linked(states.size(), 0);
  for (const ShotLink& link : links) {
    linked[static_cast<std::size_t>(link.shot_a)] = 1;
    linked[static_cast<std::size_t>(link.shot_b)] = 1;
  }
  int networks = 0;
  for (int shot = 0; shot < shots; ++shot) {
    const auto s = static_cast<std::size_t>(shot);
    if (linked[s] == 0 || states[s].pose.network != kNoNetwork) continue;
    Network(rig, links, tracks, states).grow(shot, networks++);
  }
  return states;
}

}  // namespace seamwright
