#include "jobs/learning/track_pass.h"

#include <algorithm>
#include <map>
#include <utility>

#include "jobs/learning/shot_network.h"

namespace seamwright {

namespace {

// A cold start's bearings may be off by half a degree and more; a solve's are not.
constexpr double kRoughThreshold_rad = rad_from_deg(0.7);
constexpr double kFineThreshold_rad = rad_from_deg(0.25);

// Shots that stand alone are networks of their own; those not used are none.
std::vector<PlacedShot> placed(std::span<const ShotState> solved, std::span<const char> used) {
  int networks = 0;
  for (const ShotState& shot : solved) networks = std::max(networks, shot.pose.network + 1);
  std::vector<PlacedShot> shots;
  for (std::size_t i = 0; i < solved.size(); ++i) {
    const ShotPose& pose = solved[i].pose;
    PlacedShot shot{pose.world_from_rig, pose.position, pose.network};
    if (pose.network == kNoNetwork) shot.network = networks++;
    if (used[i] == 0) shot.network = kNoNetwork;
    shots.push_back(shot);
  }
  return shots;
}

std::vector<ShotLink> in_order(std::vector<ShotLink> links, std::span<const ShotLink> more) {
  links.insert(links.end(), more.begin(), more.end());
  std::sort(links.begin(), links.end(), [](const ShotLink& a, const ShotLink& b) {
    return std::pair(a.shot_a, a.shot_b) < std::pair(b.shot_a, b.shot_b);
  });
  return links;
}

// Where shots stand, the first of every network in the middle of its world; networks are numbered
// by their first shots.
std::vector<ShotState> as_placed(std::span<const PlacedShot> shots) {
  std::vector<ShotState> states(shots.size());
  std::map<int, std::pair<PlacedShot, int>> first;  // and their networks' new numbers
  std::map<int, int> members;
  for (const PlacedShot& shot : shots) ++members[shot.network];
  for (std::size_t i = 0; i < shots.size(); ++i) {
    if (shots[i].network == kNoNetwork || members[shots[i].network] < 2) continue;
    const auto number = static_cast<int>(first.size());
    const auto& [world, network] =
        first.try_emplace(shots[i].network, std::pair(shots[i], number)).first->second;
    const Quat from_world = world.world_from_rig.conjugate();
    states[i].pose = {(from_world * shots[i].world_from_rig).normalized(),
                      from_world * (shots[i].position - world.position), network};
  }
  return states;
}

}  // namespace

TrackPass::TrackPass(int shots, FrameSource frames, const TrackPassOptions& options)
    : shots_(shots), frames_(std::move(frames)), options_(options) {}

Result<TrackRound> TrackPass::round(const Rig& rig, std::span<const char> used,
                                    std::span<const ShotState> solved, const ProgressFn& progress) {
  TrackRound found;
  found.start.resize(static_cast<std::size_t>(shots_));
  if (!options_.enabled || shots_ < 2) return found;
  if (keys_.empty()) {
    if (auto error = find_keys(rig, progress)) return fail(std::move(*error));
  }
  const bool fine = !solved.empty();
  auto links = find_strong_links(rig, used, fine, progress);
  if (!links) return fail(std::move(links.error()));
  std::optional<Joined> joined;
  if (fine && options_.join_networks) {
    auto more = joins_.round(keys_, rig, *links, placed(solved, used), options_.joining, progress);
    if (!more) return fail(std::move(more.error()));
    joined = std::move(*more);
  }
  if (joined) *links = in_order(std::move(*links), joined->links);
  TrackOptions tracking = options_.tracks;
  tracking.refined = tracking.refined && fine;
  auto set = find_tracks(keys_, std::move(*links), frames_, rig, tracking, progress);
  if (!set) return fail(std::move(set.error()));
  found.start = joined && !joined->links.empty()
                    ? as_placed(joined->shots)
                    : place_shots(rig, set->links, set->tracks, shots_);
  found.tracks = std::move(set->tracks);
  found.links = std::move(set->links);
  found.report = std::move(set->report);
  return found;
}

Result<std::vector<ShotLink>> TrackPass::find_strong_links(const Rig& rig,
                                                           std::span<const char> used, bool fine,
                                                           const ProgressFn& progress) const {
  LinkOptions linking = options_.links;
  linking.pose.threshold_rad = fine ? kFineThreshold_rad : kRoughThreshold_rad;
  auto links = find_links(keys_, rig, linking, progress);
  if (!links) return links;
  std::erase_if(*links, [&](const ShotLink& link) {
    return used[static_cast<std::size_t>(link.shot_a)] == 0 ||
           used[static_cast<std::size_t>(link.shot_b)] == 0;
  });
  return links;
}

std::optional<Error> TrackPass::find_keys(const Rig& rig, const ProgressFn& progress) {
  for (int shot = 0; shot < shots_; ++shot) {
    if (!tell(progress, "finding points", static_cast<double>(shot) / shots_)) {
      return Error{.kind = ErrorKind::cancelled, .what = "stopped"};
    }
    auto frames = frames_(shot);
    if (!frames) return frames.error();
    auto keys = find_sphere_keys(*frames, rig, options_.keys);
    if (!keys) return keys.error();
    keys_.push_back(std::move(*keys));
  }
  return std::nullopt;
}

}  // namespace seamwright
