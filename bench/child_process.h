#pragma once

// A program of its own, measured as a whole: what a person waits for, and the memory it took.

#include <string>
#include <vector>

#include "base/result.h"

namespace seamwright::bench {

struct ChildFigures {
  double wall_s = 0;
  double cpu_s = 0;     ///< user and system time, all threads
  double peak_mib = 0;  ///< largest resident memory
  std::string out;      ///< what it wrote to standard output
};

/// Runs a program on the first `cores` processors that this process may use and waits for it. Fails
/// when it cannot be started, or when it ends with a code other than 0 and `also_good`.
[[nodiscard]] Result<ChildFigures> run_child(const std::vector<std::string>& command, int cores,
                                             int also_good = 0);

}  // namespace seamwright::bench
