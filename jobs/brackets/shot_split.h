#pragma once

#include <map>
#include <string>
#include <vector>

#include "jobs/brackets/grouping.h"

namespace seamwright {

/// What grouping knows about one frame.
struct FramePlace {
  std::size_t frame = 0;  ///< index into the list
  double exposure = 1;
  double starts_s = 0;  ///< since 1970, as if the camera's clock were UTC
  double ends_s = 0;
  std::string lens;
  std::string shot;  ///< by pattern; empty elsewhere
};

/// Places that belong to one shot, in the order of time.
using ShotPlaces = std::vector<FramePlace>;

/// Seconds since 1970 of an EXIF date and time; the time zone is left aside.
[[nodiscard]] std::optional<double> seconds_of(const std::string& exif_date);

/// Cuts places into shots: by their names where a pattern gave them, by number of frames where
/// that is asked, else by rests.
[[nodiscard]] std::vector<ShotPlaces> split_shots(std::vector<FramePlace> places,
                                                  const std::vector<ListedFrame>& frames,
                                                  const GroupingOptions& options);

/// True when lens `a` comes before lens `b`.
[[nodiscard]] bool lens_before(const std::string& a, const std::string& b);

}  // namespace seamwright
