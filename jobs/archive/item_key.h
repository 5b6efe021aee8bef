#pragma once

#include <algorithm>
#include <string>
#include <vector>

#include "base/result.h"
#include "jobs/archive/file_contents.h"
#include "jobs/archive/run.h"

namespace seamwright {

/// What an item is made from, as two hashes.
struct ItemKey {
  std::string inputs;
  std::string settings;
  std::vector<std::string> former_settings;  ///< the same, as earlier programs told it

  bool operator==(const ItemKey&) const = default;
  [[nodiscard]] bool has_settings(const std::string& hash) const {
    return hash == settings ||
           std::find(former_settings.begin(), former_settings.end(), hash) != former_settings.end();
  }
};

/// Reads those inputs whose content is not remembered.
[[nodiscard]] Result<ItemKey> key_of(const ArchiveItem& item, FileContents& contents);

}  // namespace seamwright
