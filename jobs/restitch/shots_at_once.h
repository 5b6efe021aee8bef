#pragma once

// How many shots are stitched side by side. One shot does not fill a machine of many cores:
// reading, parts of planning its seams, and the end of writing leave most of them idle. Two threads
// a shot fill it best (docs/performance.md has the table), as far as memory holds that many shots.

#include <optional>

#include "base/result.h"
#include "jobs/shot/shot_files.h"
#include "jobs/shot/shot_wishes.h"

namespace seamwright {

struct RunBudget {
  int shots = 0;          ///< side by side; 0: as many as threads and memory allow
  double memory_gib = 0;  ///< for all of them; 0: half of what this process may use

  [[nodiscard]] std::optional<Error> validate() const;
};

/// The most memory that stitching a shot takes, GiB, about: by the size of its pictures and of its
/// panorama, and by what is done with them. 0 where no picture can be read. `whole`: the panorama
/// is worked on as a whole, to cover the stand, to be shown from light, or to cut it into tiles.
[[nodiscard]] double memory_gib_of(const ShotFiles& files, const ShotWishes& wishes, bool whole);

/// At least 1. `largest_shot_gib` 0: not known, and then no limit.
[[nodiscard]] int shots_at_once(const RunBudget& budget, int threads, double largest_shot_gib);

}  // namespace seamwright
