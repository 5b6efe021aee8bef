#pragma once

#include <filesystem>

namespace seamwright {

/// Makes a file's name as lasting as its bytes: flushes the folder that it lies in. A folder that
/// cannot be opened for that is let pass.
void flush_folder_of(const std::filesystem::path& file);

}  // namespace seamwright
