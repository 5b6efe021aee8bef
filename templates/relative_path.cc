#include "templates/relative_path.h"

#include <fmt/format.h>

namespace seamwright {

std::filesystem::path read_relative_path(const StrictValue& value) {
  std::string text = value.text();
  const bool has_drive = text.size() > 1 && text[1] == ':';
  if (text[0] == '/' || text[0] == '~' || text[0] == '\\' || has_drive) {
    value.refuse(fmt::format("the path {} is absolute", shown(text)),
                 "give it relative to the folder of this file, so that the folder can move");
  }
  if (text.find('\\') != std::string::npos) {
    value.refuse(fmt::format("the path {} has a backslash", shown(text)), "write '/' instead");
  }
  return std::filesystem::path(std::move(text));
}

}  // namespace seamwright
