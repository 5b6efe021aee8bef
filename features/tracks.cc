#include "features/tracks.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <map>
#include <optional>
#include <utility>

#include "base/parallel.h"
#include "features/even_spread.h"
#include "features/lens_match.h"
#include "features/track_chain.h"
#include "features/track_refiner.h"
#include "features/view_cache.h"

namespace seamwright {

namespace {

constexpr int kTrackBands = 9;        // of the even spread
constexpr int kRefinedPerKept = 2;    // tracks refined for every one that may be kept
constexpr double kRawSigma_px = 0.5;  // of a key of the usual size
constexpr double kUsualSize_px = 5;   // … larger blobs sit more vaguely
constexpr double kFarthest = 60;      // a point's distance, in units of the way between stands
constexpr double kLeastSpread_rad = rad_from_deg(0.006);  // of a link: never blame less
constexpr int kLeastRefit = 20;                           // refined pairs to solve a link again

using ShotPair = std::pair<int, int>;

RelativePose inverse(const RelativePose& pose) {
  const Quat back = pose.rotation.conjugate();
  return {back, -(back * pose.translation)};
}

// One sight as it goes through.
struct Sight {
  KeySight source;
  int lens = 0;
  Vec2 px = Vec2::Zero();
  Mat2 covariance_px2 = Mat2::Identity();
  bool alive = true;
};

struct Track {
  std::vector<Sight> sights;  // the reference first
  double distance = 0;        // of the point from the reference's pupil, rig units; 0: not known

  [[nodiscard]] const Sight& reference() const { return sights.front(); }
  [[nodiscard]] int shot() const { return reference().source.shot; }
};

class TrackFinder {
 public:
  TrackFinder(std::span<const ShotKeys> keys, std::vector<ShotLink> links,
              const FrameSource& frames, const Rig& rig, const TrackOptions& options,
              const ProgressFn& progress)
      : keys_(keys),
        rig_(rig),
        options_(options),
        progress_(progress),
        cache_(frames, rig, options.view_bytes) {
    set_.links = std::move(links);
    for (std::size_t i = 0; i < set_.links.size(); ++i) {
      link_at_[{set_.links[i].shot_a, set_.links[i].shot_b}] = i;
    }
  }

  Result<TrackSet> run() {
    start();
    thin(kRefinedPerKept * options_.max_tracks_per_shot);
    if (options_.refined) {
      if (auto done = refine(); !done) return tl::make_unexpected(done.error());
      drop_misfits();
    }
    thin(options_.max_tracks_per_shot);
    finish();
    return std::move(set_);
  }

 private:
  [[nodiscard]] const SphereKey& key(const KeySight& sight) const {
    return keys_[static_cast<std::size_t>(sight.shot)].keys[static_cast<std::size_t>(sight.key)];
  }

  // From the rig of shot a to that of shot b; empty without a link.
  [[nodiscard]] std::optional<RelativePose> motion(int a, int b) const {
    if (a == b) return RelativePose{Quat::Identity(), Vec3::Zero()};
    if (const auto at = link_at_.find({a, b}); at != link_at_.end()) {
      return set_.links[at->second].b_from_a;
    }
    if (const auto at = link_at_.find({b, a}); at != link_at_.end()) {
      return inverse(set_.links[at->second].b_from_a);
    }
    return std::nullopt;
  }

  void start() {
    std::vector<std::vector<KeyPair>> within(keys_.size());
    const LensMatchOptions match{.sideways_rad = options_.sideways_rad,
                                 .slack_rad = options_.sideways_rad,
                                 .nearest_m = options_.nearest_m,
                                 .nearest_baselines = options_.nearest_baselines};
    parallel_for(0, static_cast<int>(keys_.size()), [&](int shot) {
      within[static_cast<std::size_t>(shot)] =
          match_lenses(keys_[static_cast<std::size_t>(shot)], rig_, match);
    });
    const Chains chains = chain(keys_, set_.links, within);
    set_.report.chained = static_cast<int>(chains.tracks.size());
    set_.report.conflicts = chains.conflicts;
    for (const auto& sights : chains.tracks) {
      Track track = made_of(sights);
      if (reaches_over(track)) tracks_.push_back(std::move(track));
    }
  }

  [[nodiscard]] static bool reaches_over(const Track& track) {
    return std::any_of(track.sights.begin(), track.sights.end(), [&](const Sight& sight) {
      return sight.alive && sight.source.shot != track.shot();
    });
  }

  // The reference is linked to as many of the others as can be, and of middling size, so that no
  // other view is much closer or much farther. Sights without a link to it are left out.
  [[nodiscard]] Track made_of(std::vector<KeySight> sights) const {
    std::vector<float> sizes;
    for (const KeySight& sight : sights) sizes.push_back(key(sight).size_rad);
    std::nth_element(sizes.begin(), sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2),
                     sizes.end());
    const float middle = sizes[sizes.size() / 2];
    const auto reach = [&](const KeySight& from) {
      return std::count_if(sights.begin(), sights.end(), [&](const KeySight& to) {
        return motion(from.shot, to.shot).has_value();
      });
    };
    const auto off = [&](const KeySight& sight) {
      return std::abs(std::log(key(sight).size_rad / middle));
    };
    std::size_t best = 0;
    for (std::size_t i = 1; i < sights.size(); ++i) {
      const auto more = reach(sights[i]) - reach(sights[best]);
      if (more > 0 || (more == 0 && off(sights[i]) < off(sights[best]))) best = i;
    }
    std::rotate(sights.begin(), sights.begin() + static_cast<std::ptrdiff_t>(best),
                sights.begin() + static_cast<std::ptrdiff_t>(best) + 1);
    Track track;
    for (const KeySight& source : sights) {
      if (!motion(sights.front().shot, source.shot)) continue;
      const SphereKey& found = key(source);
      const double size_px =
          found.size_rad * rig_.lenses[static_cast<std::size_t>(found.lens)].lens.terms[kFocal];
      const double sigma = kRawSigma_px * std::max(1.0, size_px / kUsualSize_px);
      track.sights.push_back(
          {source, found.lens, found.px, sigma * sigma * Mat2::Identity(), true});
    }
    track.distance = distance_of(track);
    return track;
  }

  // From the other stand with the most parallax, in the units of its own link.
  [[nodiscard]] double distance_of(const Track& track) const {
    double most = 0;
    double distance = 0;
    for (const Sight& sight : track.sights) {
      if (sight.source.shot == track.shot()) continue;
      const auto rays = rays_of(track.reference(), sight);
      if (!rays) continue;
      const RelativePose pose = *motion(track.shot(), sight.source.shot);
      const double parallax = angle_between(pose.rotation * rays->a.direction, rays->b.direction);
      if (parallax <= most) continue;
      most = parallax;
      distance = bounded_distance(pose, *rays);
    }
    return distance;
  }

  [[nodiscard]] static double bounded_distance(const RelativePose& pose, const RayPair& rays) {
    const double farthest = kFarthest * pose.translation.norm();
    const auto depths = ray_depths(pose, rays);
    return depths && depths->a > 0 ? std::min(depths->a, farthest) : farthest;
  }

  [[nodiscard]] std::optional<RayPair> rays_of(const Sight& a, const Sight& b) const {
    const auto ray_a = ray_of(rig_, a.lens, a.px);
    const auto ray_b = ray_of(rig_, b.lens, b.px);
    if (!ray_a || !ray_b) return std::nullopt;
    return RayPair{*ray_a, *ray_b};
  }

  // Which sights are to be aligned between which two shots, so that few views are held at once.
  struct Job {
    std::size_t track = 0;
    std::size_t sight = 0;
  };

  [[nodiscard]] Result<void> refine() {
    std::map<ShotPair, std::vector<Job>> jobs;
    for (std::size_t t = 0; t < tracks_.size(); ++t) {
      for (std::size_t s = 1; s < tracks_[t].sights.size(); ++s) {
        jobs[{tracks_[t].shot(), tracks_[t].sights[s].source.shot}].push_back({t, s});
        ++set_.report.sights;
      }
    }
    // Of the surest alignment of each track.
    std::vector<std::optional<Mat2>> reference_covariance(tracks_.size());
    double done = 0;
    for (const auto& [shots, jobs_of_pair] : jobs) {
      const std::vector<Job>& list = jobs_of_pair;
      if (!tell(progress_, "refining tracks", done / static_cast<double>(jobs.size()))) {
        return fail({.kind = ErrorKind::cancelled, .what = "stopped while refining tracks"});
      }
      done += 1;
      const auto here = cache_.of(shots.first);
      if (!here) return tl::make_unexpected(here.error());
      const auto there = cache_.of(shots.second);
      if (!there) return tl::make_unexpected(there.error());
      std::vector<std::optional<RefinedSight>> results(list.size());
      parallel_for(0, static_cast<int>(list.size()), [&](int i) {
        const auto index = static_cast<std::size_t>(i);
        results[index] = refined(list[index], **here, **there);
      });
      for (std::size_t i = 0; i < list.size(); ++i) {
        accept(list[i], results[i], reference_covariance[list[i].track]);
      }
    }
    for (std::size_t t = 0; t < tracks_.size(); ++t) {
      if (reference_covariance[t]) {
        tracks_[t].sights.front().covariance_px2 = *reference_covariance[t];
      }
    }
    bury();
    return {};
  }

  [[nodiscard]] std::optional<RefinedSight> refined(const Job& job,
                                                    const std::vector<LensView>& here,
                                                    const std::vector<LensView>& there) const {
    const Track& track = tracks_[job.track];
    const Sight& reference = track.reference();
    const Sight& sight = track.sights[job.sight];
    const RelativePose pose = *motion(track.shot(), sight.source.shot);
    double distance = track.distance;
    if (sight.source.shot != track.shot()) {
      const auto rays = rays_of(reference, sight);
      if (!rays) return std::nullopt;
      distance = bounded_distance(pose, *rays);
    }
    if (!(distance > 0)) return std::nullopt;
    return refine_sight({&here[static_cast<std::size_t>(reference.lens)], reference.px},
                        {&there[static_cast<std::size_t>(sight.lens)], sight.px}, pose, distance,
                        options_.refine);
  }

  void accept(const Job& job, const std::optional<RefinedSight>& result,
              std::optional<Mat2>& reference_covariance) {
    Sight& sight = tracks_[job.track].sights[job.sight];
    sight.alive = result.has_value();
    if (!result) return;
    ++set_.report.refined;
    sight.px = result->px;
    sight.covariance_px2 = result->covariance_px2;
    const Mat2& own = result->reference_covariance_px2;
    if (!reference_covariance || own.trace() < reference_covariance->trace()) {
      reference_covariance = own;
    }
  }

  // Without dead sights, without tracks that have none left in another shot.
  void bury() {
    for (Track& track : tracks_) {
      std::erase_if(track.sights, [](const Sight& sight) { return !sight.alive; });
    }
    std::erase_if(tracks_, [](const Track& track) { return !reaches_over(track); });
  }

  // Every link solved again from its refined pairs, which also tells how far they may lie off.
  void drop_misfits() {
    std::map<std::size_t, std::vector<std::pair<Job, RayPair>>> by_link;
    for (std::size_t t = 0; t < tracks_.size(); ++t) {
      for (std::size_t s = 1; s < tracks_[t].sights.size(); ++s) {
        const Sight& reference = tracks_[t].reference();
        const Sight& sight = tracks_[t].sights[s];
        const int here = reference.source.shot;
        const int there = sight.source.shot;
        if (here == there) continue;
        const bool forth = here < there;
        const auto rays = forth ? rays_of(reference, sight) : rays_of(sight, reference);
        if (!rays) continue;
        by_link[link_at_.at({std::min(here, there), std::max(here, there)})].push_back(
            {{t, s}, *rays});
      }
    }
    for (const auto& [link, pairs] : by_link) judge(set_.links[link], pairs);
    bury();
  }

  void judge(ShotLink& link, const std::vector<std::pair<Job, RayPair>>& pairs) {
    std::vector<RayPair> rays;
    for (const auto& [job, pair] : pairs) rays.push_back(pair);
    PoseOptions pose;
    pose.least_threshold_rad = 4 * kLeastSpread_rad;
    pose.threshold_rad = std::max(4 * link.sigma_rad, pose.least_threshold_rad);
    pose.least_inliers = kLeastRefit;
    // Few matches in a doorway would turn the stand about it: there the map knows better.
    if (const auto again = link.guided ? std::nullopt : refine_pose(rays, link.b_from_a, pose)) {
      link.b_from_a = again->pose;
      link.distance_sigma = again->distance_sigma;
      link.sigma_rad = again->sigma_rad;
      link.parallax_rad = again->parallax_rad;
    }
    const double limit = options_.reject_sigmas * std::max(link.sigma_rad, kLeastSpread_rad);
    for (const auto& [job, pair] : pairs) {
      const auto residual = epipolar_residual(link.b_from_a, pair);
      if (!residual || std::abs(*residual) <= limit) continue;
      tracks_[job.track].sights[job.sight].alive = false;
      ++set_.report.misfit;
    }
  }

  // Per shot of reference, evenly over each lens' part of the sphere, long tracks first.
  void thin(int max_per_shot) {
    std::map<int, std::vector<std::size_t>> by_shot;
    for (std::size_t t = 0; t < tracks_.size(); ++t) by_shot[tracks_[t].shot()].push_back(t);
    std::vector<Track> kept;
    for (const auto& [shot, members] : by_shot) {
      std::vector<SpreadItem> items;
      for (const std::size_t t : members) items.push_back({cell_of(tracks_[t]), worth(tracks_[t])});
      for (const int i : spread_evenly(items, max_per_shot)) {
        kept.push_back(std::move(tracks_[members[static_cast<std::size_t>(i)]]));
      }
    }
    tracks_ = std::move(kept);
  }

  [[nodiscard]] int cell_of(const Track& track) const {
    const Sight& reference = track.reference();
    const auto ray = ray_of(rig_, reference.lens, reference.px);
    const int cell = ray ? sphere_cell(ray->direction, kTrackBands) : 0;
    return reference.lens * 2 * kTrackBands * kTrackBands + cell;
  }

  [[nodiscard]] double worth(const Track& track) const {
    const bool lenses = std::any_of(track.sights.begin(), track.sights.end(), [&](const Sight& s) {
      return s.lens != track.reference().lens;
    });
    const double length = static_cast<double>(track.sights.size()) + (lenses ? 1 : 0);
    return length + 1 / (1 + track.reference().covariance_px2.trace());
  }

  void finish() {
    for (const Track& track : tracks_) {
      Tie tie;
      tie.shot = track.shot();
      for (const Sight& sight : track.sights) {
        const int shot = sight.source.shot == tie.shot ? kOwnShot : sight.source.shot;
        tie.sights.push_back({sight.lens, sight.px, sight.covariance_px2, shot});
      }
      auto& by_length = set_.report.by_length;
      if (by_length.size() <= tie.sights.size()) by_length.resize(tie.sights.size() + 1, 0);
      ++by_length[tie.sights.size()];
      set_.tracks.push_back(std::move(tie));
    }
  }

  std::span<const ShotKeys> keys_;
  const Rig& rig_;
  const TrackOptions& options_;
  const ProgressFn& progress_;
  ViewCache cache_;
  std::map<ShotPair, std::size_t> link_at_;
  std::vector<Track> tracks_;
  TrackSet set_;
};

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
  return TrackFinder(keys, std::move(links), frames, rig, options, progress).run();
}

}  // namespace seamwright
