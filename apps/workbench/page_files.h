#pragma once

#include <span>
#include <string_view>

namespace seamwright::workbench {

/// A file of the page, built into the program.
struct PageFile {
  std::string_view path;  ///< as in the address, "/" for the page itself
  std::string_view type;  ///< Content-Type
  std::string_view bytes;
};

/// Empty where the program was built without npm.
[[nodiscard]] std::span<const PageFile> page_files();

}  // namespace seamwright::workbench
