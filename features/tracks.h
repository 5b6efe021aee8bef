#pragma once

// Tracks: scene points seen from several stands, by any lens, refined to sub-pixel.
//
//   keys    find_sphere_keys (sphere_keys.h), once a shot: they stay in frame pixels
//   links   find_links: which shots overlap, and where they stand from each other
//   tracks  find_tracks: links chained over shots and lenses, one sight chosen as the reference of
//           each point, the others aligned to it, links solved again from what was aligned and
//           sights that do not fit dropped, an even spread
//
// Links and tracks are repeated when the rig gets better; keys are not.

#include <cstddef>
#include <span>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "features/frame_source.h"
#include "features/refine.h"
#include "features/shot_link.h"
#include "features/sphere_keys.h"
#include "projection/tie.h"

namespace seamwright {

struct TrackRefineOptions {
  RefineOptions align;          ///< its defaults here are those of the constructor
  double affine_sigma = 0.15;   ///< spread of every affine term around the assumed slant
  double worst_sigma_px = 0.4;  ///< in the direction known worst: edges do not make tracks

  TrackRefineOptions();
};

struct TrackOptions {
  bool refined = true;  ///< false: key positions as they are, for a cold start
  TrackRefineOptions refine;
  int max_tracks_per_shot = 1500;         ///< with their reference in it, evenly over the sphere
  double sideways_rad = rad_from_deg(1);  ///< gate between lenses of one shot: the rig's error
  double nearest_m = 0.3;                 ///< nearest object, metres (metric rigs)
  double nearest_baselines = 10;          ///< the same for rigs without a scale
  double reject_sigmas = 3.5;  ///< a refined sight may lie this many spreads of its link off
  std::size_t view_bytes = std::size_t{768} << 20U;  ///< memory for frames made ready
};

struct TrackReport {
  int chained = 0;    ///< tracks from the links' matches
  int conflicts = 0;  ///< of them dropped: two places in one frame
  int sights = 0;     ///< beside the references that were to be refined …
  int refined = 0;    ///< … that were …
  int misfit = 0;     ///< … and of those dropped, off their links' geometry
  /// Tracks in the end by their number of sights; [0] and [1] are 0.
  std::vector<int> by_length;
};

struct TrackSet {
  /// A tie's own shot is that of its reference, which is its first sight.
  std::vector<Tie> tracks;
  std::vector<ShotLink> links;  ///< as given, solved again from the refined sights
  TrackReport report;
};

/// Every pair of shots that overlaps, ordered by shot_a, then shot_b.
[[nodiscard]] Result<std::vector<ShotLink>> find_links(std::span<const ShotKeys> keys,
                                                       const Rig& rig,
                                                       const LinkOptions& options = {},
                                                       const ProgressFn& progress = {});

/// `keys[i]` are of shot i, as are `frames(i)` and the links' shot numbers. Same input, same
/// result, whatever the thread count. Fails when frames cannot be read or do not fit the rig, and
/// when `progress` says stop; shots without links simply have no tracks.
[[nodiscard]] Result<TrackSet> find_tracks(std::span<const ShotKeys> keys,
                                           std::vector<ShotLink> links, const FrameSource& frames,
                                           const Rig& rig, const TrackOptions& options = {},
                                           const ProgressFn& progress = {});

}  // namespace seamwright
