#pragma once

#include <set>
#include <string>
#include <vector>

namespace seamwright {

/// Which of many are looked at this time: one in `every`, at least one, others at each of the times
/// 0, 1, 2…, so that all come round. The same for the same names and time. None where `every` is 0.
[[nodiscard]] std::set<std::string> sample_of(std::vector<std::string> names, int every, int time);

}  // namespace seamwright
