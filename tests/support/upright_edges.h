#pragma once

#include <cmath>
#include <vector>

#include "projection/upright_edge.h"

namespace seamwright::test {

/// Edges that stand along `down`, at these azimuths about it, as a hand marks them that sees both
/// ends 30 degrees above and below the level.
[[nodiscard]] inline std::vector<UprightEdge> upright_edges(
    const Vec3& down, const std::vector<double>& azimuths_deg) {
  std::vector<UprightEdge> edges;
  for (const double azimuth_deg : azimuths_deg) {
    const Vec3 level = Eigen::AngleAxisd(rad_from_deg(azimuth_deg), down) * down.unitOrthogonal();
    UprightEdge edge;
    for (std::size_t end = 0; end < 2; ++end) {
      const double height = (end == 0 ? -1 : 1) * std::tan(rad_from_deg(30));
      edge.ends[end] = place_of((level + height * down).normalized());
    }
    edges.push_back(edge);
  }
  return edges;
}

}  // namespace seamwright::test
