#include "features/track_passes.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <map>
#include <optional>
#include <utility>
#include <vector>

#include "base/parallel.h"
#include "features/track_refiner.h"
#include "features/view_cache.h"

namespace seamwright {

namespace {

constexpr double kLeastSpread_rad = rad_from_deg(0.006);  // of a link: never blame less
constexpr int kLeastRefit = 20;                           // refined pairs to solve a link again

using Views = std::vector<LensView>;

std::optional<RefinedSight> refined(const DraftPlace& place, const DraftSet& set, const Rig& rig,
                                    const Views& here, const Views& there,
                                    const TrackRefineOptions& options) {
  const TrackDraft& track = set.tracks[place.track];
  const DraftSight& reference = track.reference();
  const DraftSight& sight = track.sights[place.sight];
  const RelativePose pose = *set.links.motion(track.shot(), sight.shot);
  double distance = track.distance;
  if (sight.shot != track.shot()) {
    const auto rays = rays_of(rig, reference, sight);
    if (!rays) return std::nullopt;
    distance = bounded_distance(pose, *rays);
  }
  if (!(distance > 0)) return std::nullopt;
  return refine_sight({&here[static_cast<std::size_t>(reference.lens)], reference.px},
                      {&there[static_cast<std::size_t>(sight.lens)], sight.px}, pose, distance,
                      options);
}

// Takes over what an alignment found, and the surest covariance of the reference so far.
void accept(const DraftPlace& place, const std::optional<RefinedSight>& result, DraftSet& set,
            std::optional<Mat2>& reference_covariance) {
  DraftSight& sight = set.tracks[place.track].sights[place.sight];
  sight.alive = result.has_value();
  if (!result) return;
  ++set.report.refined;
  sight.px = result->px;
  sight.covariance_px2 = result->covariance_px2;
  const Mat2& own = result->reference_covariance_px2;
  if (!reference_covariance || own.trace() < reference_covariance->trace()) {
    reference_covariance = own;
  }
}

// Which sights are to be aligned between which two shots, so that few views are held at once.
using ByShots = std::map<std::pair<int, int>, std::vector<DraftPlace>>;

ByShots sights_by_shots(const std::vector<TrackDraft>& tracks) {
  ByShots places;
  for (std::size_t t = 0; t < tracks.size(); ++t) {
    for (std::size_t s = 1; s < tracks[t].sights.size(); ++s) {
      places[{tracks[t].shot(), tracks[t].sights[s].shot}].push_back({t, s});
    }
  }
  return places;
}

// A sight that is to be judged by its link, and its rays, those of the link's shot a first.
struct JudgedSight {
  DraftPlace place;
  RayPair rays;
};

// By index of the link.
std::map<std::size_t, std::vector<JudgedSight>> sights_by_link(const DraftSet& set,
                                                               const Rig& rig) {
  std::map<std::size_t, std::vector<JudgedSight>> by_link;
  for (std::size_t t = 0; t < set.tracks.size(); ++t) {
    const DraftSight& reference = set.tracks[t].reference();
    for (std::size_t s = 1; s < set.tracks[t].sights.size(); ++s) {
      const DraftSight& sight = set.tracks[t].sights[s];
      if (reference.shot == sight.shot) continue;
      const bool forth = reference.shot < sight.shot;
      const auto rays = forth ? rays_of(rig, reference, sight) : rays_of(rig, sight, reference);
      if (rays) by_link[set.links.between(reference.shot, sight.shot)].push_back({{t, s}, *rays});
    }
  }
  return by_link;
}

void solve_again(const std::vector<JudgedSight>& sights, ShotLink& link) {
  std::vector<RayPair> rays;
  for (const JudgedSight& sight : sights) rays.push_back(sight.rays);
  PoseOptions options;
  options.least_threshold_rad = 4 * kLeastSpread_rad;
  options.threshold_rad = std::max(4 * link.sigma_rad, options.least_threshold_rad);
  options.least_inliers = kLeastRefit;
  const auto again = refine_pose(rays, link.b_from_a, options);
  if (!again) return;
  link.b_from_a = again->pose;
  link.distance_sigma = again->distance_sigma;
  link.sigma_rad = again->sigma_rad;
  link.parallax_rad = again->parallax_rad;
}

}  // namespace

Result<void> refine_drafts(const FrameSource& frames, const Rig& rig, const TrackOptions& options,
                           const ProgressFn& progress, DraftSet& set) {
  const ByShots places = sights_by_shots(set.tracks);
  ViewCache cache(frames, rig, options.view_bytes);
  std::vector<std::optional<Mat2>> reference_covariance(set.tracks.size());
  double done = 0;
  for (const auto& [shots, listed] : places) {
    const std::vector<DraftPlace>& list = listed;
    if (!tell(progress, "refining tracks", done / static_cast<double>(places.size()))) {
      return fail({.kind = ErrorKind::cancelled, .what = "stopped while refining tracks"});
    }
    done += 1;
    const auto here = cache.of(shots.first);
    if (!here) return tl::make_unexpected(here.error());
    const auto there = cache.of(shots.second);
    if (!there) return tl::make_unexpected(there.error());
    std::vector<std::optional<RefinedSight>> results(list.size());
    parallel_for(0, static_cast<int>(list.size()), [&](int i) {
      const auto index = static_cast<std::size_t>(i);
      results[index] = refined(list[index], set, rig, **here, **there, options.refine);
    });
    set.report.sights += static_cast<int>(list.size());
    for (std::size_t i = 0; i < list.size(); ++i) {
      accept(list[i], results[i], set, reference_covariance[list[i].track]);
    }
  }
  for (std::size_t t = 0; t < set.tracks.size(); ++t) {
    if (reference_covariance[t]) {
      set.tracks[t].sights.front().covariance_px2 = *reference_covariance[t];
    }
  }
  bury(set.tracks);
  return {};
}

void drop_misfits(const Rig& rig, const TrackOptions& options, DraftSet& set) {
  for (const auto& [index, sights] : sights_by_link(set, rig)) {
    ShotLink& link = set.links.at(index);
    // Few matches in a doorway would turn the stand about it: there the map knows better.
    if (!link.guided) solve_again(sights, link);
    const double limit = options.reject_sigmas * std::max(link.sigma_rad, kLeastSpread_rad);
    for (const JudgedSight& sight : sights) {
      const auto residual = epipolar_residual(link.b_from_a, sight.rays);
      if (!residual || std::abs(*residual) <= limit) continue;
      set.tracks[sight.place.track].sights[sight.place.sight].alive = false;
      ++set.report.misfit;
    }
  }
  bury(set.tracks);
}

}  // namespace seamwright
