#include "jobs/learning/track_pass.h"

#include "jobs/learning/shot_network.h"

namespace seamwright {

namespace {

// A cold start's bearings may be off by half a degree and more; a solve's are not.
constexpr double kRoughThreshold_rad = rad_from_deg(0.7);
constexpr double kFineThreshold_rad = rad_from_deg(0.25);

}  // namespace

TrackPass::TrackPass(int shots, FrameSource frames, const TrackPassOptions& options)
    : shots_(shots), frames_(std::move(frames)), options_(options) {}

Result<TrackRound> TrackPass::round(const Rig& rig, std::span<const char> used, bool fine,
                                    const ProgressFn& progress) {
  TrackRound found;
  found.start.resize(static_cast<std::size_t>(shots_));
  if (!options_.enabled || shots_ < 2) return found;
  if (keys_.empty()) {
    if (auto error = find_keys(rig, progress)) return fail(std::move(*error));
  }
  LinkOptions linking = options_.links;
  linking.pose.threshold_rad = fine ? kFineThreshold_rad : kRoughThreshold_rad;
  auto links = find_links(keys_, rig, linking, progress);
  if (!links) return fail(std::move(links.error()));
  std::erase_if(*links, [&](const ShotLink& link) {
    return used[static_cast<std::size_t>(link.shot_a)] == 0 ||
           used[static_cast<std::size_t>(link.shot_b)] == 0;
  });
  TrackOptions tracking = options_.tracks;
  tracking.refined = tracking.refined && fine;
  auto set = find_tracks(keys_, std::move(*links), frames_, rig, tracking, progress);
  if (!set) return fail(std::move(set.error()));
  found.start = place_shots(rig, set->links, set->tracks, shots_);
  found.tracks = std::move(set->tracks);
  found.links = std::move(set->links);
  found.report = std::move(set->report);
  return found;
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
