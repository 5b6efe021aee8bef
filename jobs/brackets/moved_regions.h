#pragma once

#include <span>
#include <vector>

#include "imaging/plane.h"
#include "jobs/brackets/consistency.h"
#include "jobs/brackets/exposed.h"
#include "jobs/brackets/noise_model.h"

namespace seamwright {

/// A place where the frames show different things.
struct MovedRegion {
  int size_px = 0;
  int frame = 0;                     ///< whose moment is kept
  std::vector<std::uint8_t> joined;  ///< per frame: 1 where it shows the same throughout the region
};

/// All of them, and how they meet the rest of the picture.
struct MovedRegions {
  Plane<int> label;  ///< 0: nothing moved here; k: regions[k − 1]
  Mask kept;         ///< 255: the region's frames alone; less towards the rim, where all agree
  std::vector<MovedRegion> regions;
};

/// Finds what moved and resolves each region to one moment.
///
/// `frames` in rising exposure, aligned. Neighbours in exposure are compared (a change anywhere in
/// the series shows between two of them); what differs is grown by 4 pixels and joined up, and 4
/// pixels more, where all frames agree, lead over to the ordinary merge. Each region keeps the
/// moment of frame `reference` unless more than 0.1 % of it is clipped there; then that of the
/// longest frame which is not, else that of the shortest. Frames that show the same as the kept one
/// all over the region still count.
[[nodiscard]] MovedRegions find_moved_regions(std::span<const Exposed> frames, int reference,
                                              const NoiseModel& noise,
                                              const ConsistencyOptions& options);

}  // namespace seamwright
