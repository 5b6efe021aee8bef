#include "templates/relative_path.h"

#include <string_view>

#include <fmt/format.h>

namespace seamwright {

namespace {

constexpr std::string_view kHere = "./";

// What looks absolute on some system: a home, or a drive.
bool has_home_or_drive(std::string_view text) {
  return text.starts_with('~') || (text.size() > 1 && text[1] == ':');
}

}  // namespace

std::filesystem::path read_relative_path(const StrictValue& value) {
  std::string text = value.text();
  if (text[0] == '/' || text[0] == '\\' || has_home_or_drive(text)) {
    value.refuse(fmt::format("the path {} is absolute", shown(text)),
                 "give it relative to the folder of this file, so that the folder can move");
  }
  if (text.find('\\') != std::string::npos) {
    value.refuse(fmt::format("the path {} has a backslash", shown(text)),
                 "write '/' instead; rename a file whose own name holds one");
  }
  if (text.starts_with(kHere) && has_home_or_drive(std::string_view(text).substr(kHere.size()))) {
    text.erase(0, kHere.size());
  }
  return std::filesystem::path(std::move(text));
}

std::string relative_path_text(const std::filesystem::path& path) {
  const std::string text = path.generic_string();
  return has_home_or_drive(text) ? std::string(kHere) + text : text;
}

}  // namespace seamwright
