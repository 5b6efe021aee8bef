#include "jobs/archive/item_outputs.h"

#include <algorithm>
#include <cstddef>

namespace seamwright {
namespace fs = std::filesystem;

std::string output_name(const fs::path& folder, const fs::path& output) {
  return output.lexically_normal().lexically_proximate(folder.lexically_normal()).generic_string();
}

fs::path output_file(const fs::path& folder, const OutputLine& line) { return folder / line.file; }

bool has_outputs_of(const fs::path& folder, const ArchiveItem& item, const DoneLine& done) {
  const std::size_t count = item.outputs.size();
  if (done.outputs.size() < count) return false;
  if (done.outputs.size() > count && !item.further_outputs) return false;
  return std::equal(item.outputs.begin(), item.outputs.end(), done.outputs.begin(),
                    [&](const fs::path& output, const OutputLine& line) {
                      return output_name(folder, output) == line.file;
                    });
}

Result<std::vector<fs::path>> outputs_of(const ArchiveItem& item) {
  std::vector<fs::path> outputs = item.outputs;
  if (!item.further_outputs) return outputs;
  const auto further = item.further_outputs();
  if (!further) return tl::unexpected(further.error());
  outputs.insert(outputs.end(), further->begin(), further->end());
  return outputs;
}

}  // namespace seamwright
