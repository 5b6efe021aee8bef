#pragma once

// One table for people and one file for programs from a run of benchmarks.
//
// Every row is a median over repetitions in this process, in processor time of its one thread, so
// that other load on the machine counts little. A row either has a target, an absolute time that
// the project aims at, or a yardstick: another row of the same run, so that the ratio hardly
// depends on the machine.

#include <string>
#include <vector>

#include <benchmark/benchmark.h>

namespace seamwright::bench {

/// What a benchmark's time is held against.
struct Yardstick {
  std::string row;        ///< a benchmark's name
  std::string against{};  ///< another one's; empty for none
  double target_ms = 0;   ///< 0 for none
};

/// Runs all registered benchmarks, prints the table, and writes out/bench/<kernel>.json and .md
/// below the current folder. Returns the program's exit code: 1 when a benchmark's check failed, a
/// target was missed, or a file could not be written.
[[nodiscard]] int run(int argc, char** argv, const std::string& kernel,
                      const std::vector<Yardstick>& yardsticks);

}  // namespace seamwright::bench
