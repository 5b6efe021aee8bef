#include "features/even_spread.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <map>
#include <tuple>

namespace seamwright {

std::vector<int> spread_evenly(std::span<const SpreadItem> items, int max_count) {
  std::map<int, std::vector<int>> cells;
  const auto score = [&](int i) { return items[static_cast<std::size_t>(i)].score; };
  for (int i = 0; i < static_cast<int>(items.size()); ++i) {
    cells[items[static_cast<std::size_t>(i)].cell].push_back(i);
  }
  std::vector<std::tuple<int, double, int>> order;  // round, −score, item
  for (auto& [cell, members] : cells) {
    std::stable_sort(members.begin(), members.end(),
                     [&](int a, int b) { return score(a) > score(b); });
    int round = 0;
    for (const int item : members) order.emplace_back(round++, -score(item), item);
  }
  std::sort(order.begin(), order.end());
  if (order.size() > static_cast<std::size_t>(std::max(max_count, 0))) {
    order.resize(static_cast<std::size_t>(std::max(max_count, 0)));
  }
  std::vector<int> kept;
  for (const auto& entry : order) kept.push_back(std::get<2>(entry));
  std::sort(kept.begin(), kept.end());
  return kept;
}

int sphere_cell(const Vec3& direction, int bands) {
  const int sectors = 2 * bands;
  const int band = std::min(static_cast<int>((direction.y() + 1) / 2 * bands), bands - 1);
  const double turn = std::atan2(direction.x(), direction.z()) / (2 * kPi) + 0.5;
  return band * sectors + std::min(static_cast<int>(turn * sectors), sectors - 1);
}

}  // namespace seamwright
