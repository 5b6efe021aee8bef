#include "apps/cli/option_words.h"

#include <algorithm>
#include <string>
#include <utility>

namespace seamwright {

namespace {

// Empty where the command has no such option.
std::string option_of(std::string setting, const CLI::App& command) {
  if (setting.empty()) return {};
  std::replace(setting.begin(), setting.end(), '_', '-');
  std::string option = "--" + setting;
  return command.get_option_no_throw(option) == nullptr ? std::string() : option;
}

// … and then what other commands know.
std::string words_of(const std::string& setting, const CLI::App& command) {
  if (std::string option = option_of(setting, command); !option.empty()) return option;
  const CLI::App* program = command.get_parent();
  if (program == nullptr) return {};
  const auto others = program->get_subcommands([](const CLI::App*) { return true; });
  for (const CLI::App* other : others) {
    if (other->get_name() == setting) return "'seamwright " + setting + "'";
  }
  for (const CLI::App* other : others) {
    if (std::string option = option_of(setting, *other); !option.empty()) return option;
  }
  return {};
}

}  // namespace

std::string in_option_words(std::string text, const CLI::App& command) {
  for (std::size_t begin = text.find('\''); begin != std::string::npos;
       begin = text.find('\'', begin + 1)) {
    const std::size_t end = text.find('\'', begin + 1);
    if (end == std::string::npos) break;
    const std::string words = words_of(text.substr(begin + 1, end - begin - 1), command);
    if (!words.empty()) text.replace(begin, end - begin + 1, words);
  }
  return text;
}

Error in_option_words(Error error, const CLI::App& command) {
  if (const std::string option = option_of(error.field, command); !option.empty()) {
    error.field = option;
  }
  error.remedy = in_option_words(std::move(error.remedy), command);
  return error;
}

}  // namespace seamwright
