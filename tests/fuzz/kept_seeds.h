#pragma once

// The seeds of fuzzing that are kept as files, in tests/fuzz/corpus/: what other programs wrote,
// and what nobody's program writes. The README there says where they come from.

#include <filesystem>
#include <map>
#include <string>

#include <catch2/catch.hpp>

#include "tests/support/scratch_dir.h"

namespace seamwright::test {

/// Bytes by file name.
using Seeds = std::map<std::string, std::string>;

/// Those of one folder of the corpus; there is at least one.
[[nodiscard]] inline Seeds kept_seeds(const std::string& folder) {
  Seeds seeds;
  for (const auto& entry : std::filesystem::directory_iterator(
           std::filesystem::path(SEAMWRIGHT_FUZZ_CORPUS) / folder)) {
    seeds[entry.path().filename().string()] = get_file(entry.path());
  }
  CAPTURE(folder);
  REQUIRE_FALSE(seeds.empty());
  return seeds;
}

}  // namespace seamwright::test
