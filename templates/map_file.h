#pragma once

// A map (`learn --map`): where the shots of a learn run stood.

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.h"
#include "projection/conventions.h"

namespace seamwright {

/// Where one shot stood. Axes are those of the rig in the network's first shot: x to its right, y
/// down, z ahead. Headings count clockwise as seen from above, 0 where the first shot looks.
struct MapPlace {
  int network = 0;
  Vec3 position_m = Vec3::Zero();
  Vec3 position_sigma_m = Vec3::Zero();
  double heading_deg = 0;  ///< of lens 0, −180…180
  double heading_sigma_deg = 0;
};

struct MapShot {
  std::string shot;
  std::optional<MapPlace> place;  ///< empty: joined to no other shot
};

struct MapFile {
  std::string body;
  std::vector<MapShot> shots;
};

/// Fails on a file that is no map, on numbers that are none, and on a shot that stands twice.
[[nodiscard]] Result<MapFile> parse_map(std::string_view json, const std::string& name);
[[nodiscard]] Result<MapFile> read_map_file(const std::filesystem::path& path);

}  // namespace seamwright
