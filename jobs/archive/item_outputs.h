#pragma once

// Where the outputs of items lie, and what a journal calls them: their way from the run's folder.

#include <filesystem>
#include <string>
#include <vector>

#include "base/result.h"
#include "jobs/archive/journal_lines.h"
#include "jobs/archive/run.h"

namespace seamwright {

[[nodiscard]] std::string output_name(const std::filesystem::path& folder,
                                      const std::filesystem::path& output);
[[nodiscard]] std::filesystem::path output_file(const std::filesystem::path& folder,
                                                const OutputLine& line);

/// True where a time that an item was done left the outputs that it asks for now. What further ones
/// there were, the same inputs and settings tell.
[[nodiscard]] bool has_outputs_of(const std::filesystem::path& folder, const ArchiveItem& item,
                                  const DoneLine& done);

/// All that an item has after its work. Fails as `further_outputs` does.
[[nodiscard]] Result<std::vector<std::filesystem::path>> outputs_of(const ArchiveItem& item);

}  // namespace seamwright
