#pragma once

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.h"

namespace seamwright {

/// A file that a command is about to write, and the option that names it.
struct OutputFile {
  std::string option;
  std::filesystem::path path;
};

/// Fails where an output would replace one of the inputs or another output, also by another name
/// of the same file. Empty paths are no files. `input_kind` says what the inputs are, for the
/// error.
[[nodiscard]] Result<void> check_outputs(const std::vector<OutputFile>& outputs,
                                         const std::vector<std::filesystem::path>& inputs,
                                         std::string_view input_kind);

}  // namespace seamwright
