#include "jobs/archive/sample.h"

#include <algorithm>
#include <utility>

#include "base/file.h"

namespace seamwright {

std::set<std::string> sample_of(std::vector<std::string> names, int every, int time) {
  if (every <= 0 || names.empty()) return {};
  // By hash, so that neighbours of one day do not come together.
  std::vector<std::pair<std::string, std::string>> order;
  for (std::string& name : names) order.emplace_back(sha256(name), std::move(name));
  std::sort(order.begin(), order.end());
  const std::size_t size = order.size();
  const auto step = static_cast<std::size_t>(every);
  const std::size_t count = (size + step - 1) / step;
  const std::size_t first = static_cast<std::size_t>(std::max(time, 0)) % size * count;
  std::set<std::string> sample;
  for (std::size_t i = 0; i < count; ++i) sample.insert(order[(first + i) % size].second);
  return sample;
}

}  // namespace seamwright
