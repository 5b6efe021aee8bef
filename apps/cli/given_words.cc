#include "apps/cli/given_words.h"

#include <algorithm>
#include <array>
#include <filesystem>
#include <string_view>

#include "apps/cli/file_options.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr std::array<std::string_view, 5> kKindsOfPaths = {
    value_kind::kFile, value_kind::kPath, value_kind::kNewFile, value_kind::kNewFolder,
    value_kind::kShotFile};

bool is_path(const CLI::Option& option) {
  return std::find(kKindsOfPaths.begin(), kKindsOfPaths.end(), option.get_type_name()) !=
         kKindsOfPaths.end();
}

std::string value_of(const CLI::Option& option, const std::string& text) {
  return is_path(option) ? fs::absolute(text).lexically_normal().string() : text;
}

}  // namespace

std::vector<std::string> given_words(const CLI::App& command,
                                     const std::set<std::string>& left_out) {
  std::vector<std::string> inputs = {command.get_name()};
  std::vector<std::string> options;
  for (const CLI::Option* option : command.get_options()) {
    const std::string name = option->get_name();
    if (option->count() == 0 || left_out.count(name) != 0) continue;
    if (option->get_positional()) {
      for (const std::string& text : option->results()) inputs.push_back(value_of(*option, text));
    } else if (option->get_expected_max() == 0) {
      options.push_back(name);
    } else {
      for (const std::string& text : option->results()) {
        options.push_back(name + "=" + value_of(*option, text));
      }
    }
  }
  inputs.insert(inputs.end(), options.begin(), options.end());
  return inputs;
}

}  // namespace seamwright
