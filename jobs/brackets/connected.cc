#include "jobs/brackets/connected.h"

#include <algorithm>

namespace seamwright {
namespace {

void flood(const Mask& mask, int x0, int y0, int label, Regions& regions,
           std::vector<std::pair<int, int>>& open) {
  open.assign(1, {x0, y0});
  regions.label.row(y0)[static_cast<std::size_t>(x0)] = label;
  int size = 0;
  while (!open.empty()) {
    const auto [x, y] = open.back();
    open.pop_back();
    ++size;
    for (int v = std::max(0, y - 1); v <= std::min(mask.height - 1, y + 1); ++v) {
      for (int u = std::max(0, x - 1); u <= std::min(mask.width - 1, x + 1); ++u) {
        int& at = regions.label.row(v)[static_cast<std::size_t>(u)];
        if (at != 0 || mask.at(u, v) == 0) continue;
        at = label;
        open.emplace_back(u, v);
      }
    }
  }
  regions.size_px.push_back(size);
}

}  // namespace

Regions connected_regions(const Mask& mask) {
  Regions regions{.label = Plane<int>(mask.width, mask.height), .size_px = {0}};
  std::vector<std::pair<int, int>> open;
  for (int y = 0; y < mask.height; ++y) {
    for (int x = 0; x < mask.width; ++x) {
      if (mask.at(x, y) == 0 || regions.label.at(x, y) != 0) continue;
      flood(mask, x, y, static_cast<int>(regions.size_px.size()), regions, open);
    }
  }
  return regions;
}

}  // namespace seamwright
