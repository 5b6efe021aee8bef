#include "features/tracks.h"

#include <algorithm>
#include <cstddef>
#include <map>
#include <optional>
#include <utility>

#include "base/parallel.h"
#include "features/even_spread.h"
#include "features/lens_match.h"
#include "features/track_chain.h"
#include "features/track_draft.h"
#include "features/track_passes.h"

namespace seamwright {

namespace {

constexpr int kTrackBands = 9;      // of the even spread
constexpr int kRefinedPerKept = 2;  // tracks refined for every one that may be kept

// Of each shot, matches between its lenses.
std::vector<std::vector<KeyPair>> matches_within(std::span<const ShotKeys> keys, const Rig& rig,
                                                 const TrackOptions& options) {
  std::vector<std::vector<KeyPair>> within(keys.size());
  const LensMatchOptions match{.sideways_rad = options.sideways_rad,
                               .slack_rad = options.sideways_rad,
                               .nearest_m = options.nearest_m,
                               .nearest_baselines = options.nearest_baselines};
  parallel_for(0, static_cast<int>(keys.size()), [&](int shot) {
    within[static_cast<std::size_t>(shot)] =
        match_lenses(keys[static_cast<std::size_t>(shot)], rig, match);
  });
  return within;
}

int cell_of(const TrackDraft& track, const Rig& rig) {
  const DraftSight& reference = track.reference();
  const auto ray = ray_of(rig, reference.lens, reference.px);
  const int cell = ray ? sphere_cell(ray->direction, kTrackBands) : 0;
  return reference.lens * 2 * kTrackBands * kTrackBands + cell;
}

double worth(const TrackDraft& track) {
  const bool lenses =
      std::any_of(track.sights.begin(), track.sights.end(),
                  [&](const DraftSight& sight) { return sight.lens != track.reference().lens; });
  const double length = static_cast<double>(track.sights.size()) + (lenses ? 1 : 0);
  return length + 1 / (1 + track.reference().covariance_px2.trace());
}

// Per shot of reference, evenly over each lens' part of the sphere, long tracks first.
void thin(int max_per_shot, const Rig& rig, std::vector<TrackDraft>& tracks) {
  std::map<int, std::vector<std::size_t>> by_shot;
  for (std::size_t t = 0; t < tracks.size(); ++t) by_shot[tracks[t].shot()].push_back(t);
  std::vector<TrackDraft> kept;
  for (const auto& [shot, members] : by_shot) {
    std::vector<SpreadItem> items;
    for (const std::size_t t : members) {
      items.push_back({cell_of(tracks[t], rig), worth(tracks[t])});
    }
    for (const int i : spread_evenly(items, max_per_shot)) {
      kept.push_back(std::move(tracks[members[static_cast<std::size_t>(i)]]));
    }
  }
  tracks = std::move(kept);
}

Tie tie_of(const TrackDraft& track) {
  Tie tie;
  tie.shot = track.shot();
  for (const DraftSight& sight : track.sights) {
    const int shot = sight.shot == tie.shot ? kOwnShot : sight.shot;
    tie.sights.push_back({sight.lens, sight.px, sight.covariance_px2, shot});
  }
  return tie;
}

TrackSet finished(DraftSet drafts) {
  TrackSet set{.tracks = {}, .links = std::move(drafts.links).take(), .report = drafts.report};
  auto& by_length = set.report.by_length;
  for (const TrackDraft& track : drafts.tracks) {
    Tie tie = tie_of(track);
    if (by_length.size() <= tie.sights.size()) by_length.resize(tie.sights.size() + 1, 0);
    ++by_length[tie.sights.size()];
    set.tracks.push_back(std::move(tie));
  }
  return set;
}

}  // namespace

TrackRefineOptions::TrackRefineOptions() {
  align.window = 21;
  align.min_ncc = 0.9;
  align.sigma_floor_px = 0.04;  // relief looks different from elsewhere, by more than noise
  align.sigma_cap_px = 4;
  align.max_sigma_px = 0.3;
}

Result<std::vector<ShotLink>> find_links(std::span<const ShotKeys> keys, const Rig& rig,
                                         const LinkOptions& options, const ProgressFn& progress) {
  if (auto error = rig.validate()) return fail(std::move(*error));
  const int shots = static_cast<int>(keys.size());
  std::vector<ShotLink> links;
  for (int a = 0; a + 1 < shots; ++a) {
    if (!tell(progress, "linking shots", static_cast<double>(a) / shots)) {
      return fail({.kind = ErrorKind::cancelled, .what = "stopped while linking shots"});
    }
    std::vector<std::optional<ShotLink>> found(static_cast<std::size_t>(shots - a - 1));
    parallel_for(a + 1, shots, [&](int b) {
      found[static_cast<std::size_t>(b - a - 1)] = link_shots(
          keys[static_cast<std::size_t>(a)], keys[static_cast<std::size_t>(b)], a, b, rig, options);
    });
    for (auto& link : found) {
      if (link) links.push_back(std::move(*link));
    }
  }
  return links;
}

Result<TrackSet> find_tracks(std::span<const ShotKeys> keys, std::vector<ShotLink> links,
                             const FrameSource& frames, const Rig& rig, const TrackOptions& options,
                             const ProgressFn& progress) {
  if (auto error = rig.validate()) return fail(std::move(*error));
  DraftSet drafts{.links = LinkTable(std::move(links))};
  const Chains chains = chain(keys, drafts.links.links(), matches_within(keys, rig, options));
  drafts.report.chained = static_cast<int>(chains.tracks.size());
  drafts.report.conflicts = chains.conflicts;
  drafts.tracks = draft_tracks(keys, drafts.links, rig, chains.tracks);
  thin(kRefinedPerKept * options.max_tracks_per_shot, rig, drafts.tracks);
  if (options.refined) {
    if (auto done = refine_drafts(frames, rig, options, progress, drafts); !done) {
      return tl::make_unexpected(done.error());
    }
    drop_misfits(rig, options, drafts);
  }
  thin(options.max_tracks_per_shot, rig, drafts.tracks);
  return finished(std::move(drafts));
}

}  // namespace seamwright
