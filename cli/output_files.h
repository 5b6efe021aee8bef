#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "base/result.h"

namespace seamwright {

/// A file that a command is about to write, and the option that names it.
struct OutputFile {
  std::string option;
  std::filesystem::path path;
};

/// Fails where an output would replace one of the inputs or another output, also by another name
/// of the same file. Outputs with an empty path are not written.
[[nodiscard]] Result<void> check_outputs(const std::vector<OutputFile>& outputs,
                                         const std::vector<std::filesystem::path>& inputs);

}  // namespace seamwright
