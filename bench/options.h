#pragma once

#include <functional>
#include <map>
#include <string>

namespace seamwright::bench {

/// What each option of a benchmark does with its value.
using KnownOptions = std::map<std::string, std::function<void(const char* value)>>;

/// Reads pairs of an option and its value. False when one is not known or has no value.
[[nodiscard]] inline bool read_options(int argc, char** argv, const KnownOptions& known) {
  for (int i = 1; i < argc; i += 2) {
    const auto found = known.find(argv[i]);
    if (found == known.end() || i + 1 >= argc) return false;
    found->second(argv[i + 1]);
  }
  return true;
}

}  // namespace seamwright::bench
