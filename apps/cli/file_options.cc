#include "apps/cli/file_options.h"

#include <algorithm>
#include <filesystem>
#include <map>
#include <string>
#include <system_error>

#include <fmt/format.h>

namespace seamwright {
namespace fs = std::filesystem;

namespace {

bool is_of_kind(const CLI::Option& option, std::initializer_list<std::string_view> kinds) {
  return std::find(kinds.begin(), kinds.end(), option.get_type_name()) != kinds.end();
}

bool is_output(const CLI::Option& option) {
  return is_of_kind(option, {value_kind::kNewFile, value_kind::kNewFolder, value_kind::kShotFile});
}

// As far as the path is there, without links; the rest as it is written.
fs::path place_on_disk(const fs::path& path) {
  std::error_code code;
  const fs::path found = fs::weakly_canonical(path, code);
  return code ? fs::absolute(path).lexically_normal() : found;
}

std::optional<Error> refusal(const CLI::Option& option, const fs::path& path) {
  if (option.get_type_name() == value_kind::kNewFolder) {
    std::error_code code;
    if (!fs::exists(path, code) || fs::is_directory(path, code)) return std::nullopt;
    return Error{.kind = ErrorKind::user_input,
                 .where = path.string(),
                 .field = {},
                 .what = "is a file, and a folder is needed",
                 .remedy = "give another name"};
  }
  const bool updates = option.get_type_name() == value_kind::kShotFile;
  return refusal_to_write(path, updates ? Replacing::previous_kept : Replacing::recorded);
}

}  // namespace

bool writes_files(const CLI::App& command) {
  const auto options = command.get_options();
  return std::any_of(options.begin(), options.end(),
                     [](const CLI::Option* option) { return is_output(*option); });
}

Result<void> guard_files(const CLI::App& command, FileGuard& guard) {
  for (const CLI::Option* option : command.get_options()) {
    if (!is_of_kind(*option, {value_kind::kFile, value_kind::kPath})) continue;
    for (const std::string& path : option->results()) guard.reads(path);
  }
  std::map<fs::path, std::string> taken;
  for (const CLI::Option* option : command.get_options()) {
    if (!is_output(*option)) continue;
    for (const std::string& path : option->results()) {
      if (path.empty()) continue;
      auto error = refusal(*option, path);
      const auto [other, is_new] = taken.emplace(place_on_disk(path), option->get_name());
      if (!error && !is_new) {
        error = Error{.kind = ErrorKind::user_input,
                      .where = path,
                      .field = {},
                      .what = fmt::format("this is the file of {} as well", other->second),
                      .remedy = "give another name"};
      }
      if (!error) continue;
      error->field = option->get_name();
      return fail(std::move(*error));
    }
  }
  return {};
}

}  // namespace seamwright
