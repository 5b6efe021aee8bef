#include "features/track_draft.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>

namespace seamwright {

namespace {

constexpr double kRawSigma_px = 0.5;  // of a key of the usual size
constexpr double kUsualSize_px = 5;   // … larger blobs sit more vaguely
constexpr double kFarthest = 60;      // a point's distance, in units of the way between stands

const SphereKey& key_at(std::span<const ShotKeys> keys, const KeyOfShot& sight) {
  return keys[static_cast<std::size_t>(sight.shot)].keys[static_cast<std::size_t>(sight.key)];
}

float middle_size(std::span<const ShotKeys> keys, const std::vector<KeyOfShot>& sights) {
  std::vector<float> sizes;
  for (const KeyOfShot& sight : sights) sizes.push_back(key_at(keys, sight).size_rad);
  const auto middle = sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2);
  std::nth_element(sizes.begin(), middle, sizes.end());
  return *middle;
}

std::size_t choose_reference(std::span<const ShotKeys> keys, const LinkTable& links,
                             const std::vector<KeyOfShot>& sights) {
  const float middle = middle_size(keys, sights);
  const auto reach = [&](const KeyOfShot& from) {
    return std::count_if(sights.begin(), sights.end(), [&](const KeyOfShot& to) {
      return links.motion(from.shot, to.shot).has_value();
    });
  };
  const auto off = [&](const KeyOfShot& sight) {
    return std::abs(std::log(key_at(keys, sight).size_rad / middle));
  };
  std::size_t best = 0;
  for (std::size_t i = 1; i < sights.size(); ++i) {
    const auto more = reach(sights[i]) - reach(sights[best]);
    if (more > 0 || (more == 0 && off(sights[i]) < off(sights[best]))) best = i;
  }
  return best;
}

DraftSight raw_sight(const SphereKey& key, int shot, const Rig& rig) {
  const double size_px =
      key.size_rad * rig.lenses[static_cast<std::size_t>(key.lens)].lens.terms[kFocal];
  const double sigma = kRawSigma_px * std::max(1.0, size_px / kUsualSize_px);
  return {shot, key.lens, key.px, sigma * sigma * Mat2::Identity(), true};
}

// From the other stand with the most parallax, in the units of its own link.
double distance_of(const TrackDraft& track, const LinkTable& links, const Rig& rig) {
  double most = 0;
  double distance = 0;
  for (const DraftSight& sight : track.sights) {
    if (sight.shot == track.shot()) continue;
    const auto rays = rays_of(rig, track.reference(), sight);
    if (!rays) continue;
    const RelativePose pose = *links.motion(track.shot(), sight.shot);
    const double parallax = angle_between(pose.rotation * rays->a.direction, rays->b.direction);
    if (parallax <= most) continue;
    most = parallax;
    distance = bounded_distance(pose, *rays);
  }
  return distance;
}

TrackDraft draft_of(std::span<const ShotKeys> keys, const LinkTable& links, const Rig& rig,
                    std::vector<KeyOfShot> sights) {
  const auto best =
      sights.begin() + static_cast<std::ptrdiff_t>(choose_reference(keys, links, sights));
  std::rotate(sights.begin(), best, best + 1);
  TrackDraft track;
  for (const KeyOfShot& sight : sights) {
    if (!links.motion(sights.front().shot, sight.shot)) continue;
    track.sights.push_back(raw_sight(key_at(keys, sight), sight.shot, rig));
  }
  track.distance = distance_of(track, links, rig);
  return track;
}

bool reaches_over(const TrackDraft& track) {
  return std::any_of(track.sights.begin(), track.sights.end(), [&](const DraftSight& sight) {
    return sight.alive && sight.shot != track.shot();
  });
}

}  // namespace

std::optional<RayPair> rays_of(const Rig& rig, const DraftSight& a, const DraftSight& b) {
  const auto ray_a = ray_of(rig, a.lens, a.px);
  const auto ray_b = ray_of(rig, b.lens, b.px);
  if (!ray_a || !ray_b) return std::nullopt;
  return RayPair{*ray_a, *ray_b};
}

double bounded_distance(const RelativePose& pose, const RayPair& rays) {
  const double farthest = kFarthest * pose.translation.norm();
  const auto depths = ray_depths(pose, rays);
  return depths && depths->a > 0 ? std::min(depths->a, farthest) : farthest;
}

std::vector<TrackDraft> draft_tracks(std::span<const ShotKeys> keys, const LinkTable& links,
                                     const Rig& rig,
                                     const std::vector<std::vector<KeyOfShot>>& chains) {
  std::vector<TrackDraft> tracks;
  for (const auto& sights : chains) {
    TrackDraft track = draft_of(keys, links, rig, sights);
    if (reaches_over(track)) tracks.push_back(std::move(track));
  }
  return tracks;
}

void bury(std::vector<TrackDraft>& tracks) {
  for (TrackDraft& track : tracks) {
    std::erase_if(track.sights, [](const DraftSight& sight) { return !sight.alive; });
  }
  std::erase_if(tracks, [](const TrackDraft& track) { return !reaches_over(track); });
}

}  // namespace seamwright
