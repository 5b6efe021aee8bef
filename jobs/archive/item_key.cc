#include "jobs/archive/item_key.h"

#include <fmt/format.h>

#include "base/file.h"

namespace seamwright {

Result<ItemKey> key_of(const ArchiveItem& item, FileContents& contents) {
  std::string text;
  for (const std::filesystem::path& input : item.inputs) {
    const auto hash = contents.of_input(input);
    if (!hash) return tl::unexpected(hash.error());
    text += fmt::format("{} {}\n", *hash, input.filename().string());
  }
  ItemKey key{sha256(text), sha256(item.settings), {}};
  for (const std::string& former : item.former_settings) {
    key.former_settings.push_back(sha256(former));
  }
  return key;
}

}  // namespace seamwright
