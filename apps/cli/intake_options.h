#pragma once

#include <string>
#include <vector>

#include <CLI/CLI.hpp>

#include "jobs/shot/shot_files.h"

namespace seamwright {

/// How the command line says that frames lie in their files; unset where a shot file says it.
struct IntakeOptions {
  std::string layout;              ///< "", "side-by-side", "stacked" or "one-per-file"
  std::vector<int> quarter_turns;  ///< clockwise, one per lens
  bool mirrored = false;

  void add_to(CLI::App& command);
  /// The shot that these files name.
  [[nodiscard]] ShotRequest request(const std::vector<std::string>& files) const;
};

[[nodiscard]] std::vector<std::filesystem::path> as_paths(const std::vector<std::string>& files);

}  // namespace seamwright
