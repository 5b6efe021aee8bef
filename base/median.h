#pragma once

#include <algorithm>
#include <cstddef>
#include <vector>

namespace seamwright {

/// The middle value; the upper one of two; 0 if there are no values.
[[nodiscard]] inline double median(std::vector<double> values) {
  if (values.empty()) return 0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

/// The middle value; of two their mean. For few values, of which the upper one would say too much;
/// 0 if there are none.
[[nodiscard]] inline double even_median(std::vector<double> values) {
  if (values.empty()) return 0;
  std::sort(values.begin(), values.end());
  const std::size_t half = values.size() / 2;
  return values.size() % 2 == 1 ? values[half] : 0.5 * (values[half - 1] + values[half]);
}

}  // namespace seamwright
