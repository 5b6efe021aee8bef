#include "apps/cli/option_words.h"

#include <algorithm>
#include <string>

namespace seamwright {

namespace {

// Empty where the command has no such option.
std::string option_of(std::string setting, const CLI::App& command) {
  if (setting.empty()) return {};
  std::replace(setting.begin(), setting.end(), '_', '-');
  std::string option = "--" + setting;
  return command.get_option_no_throw(option) == nullptr ? std::string() : option;
}

}  // namespace

Error in_option_words(Error error, const CLI::App& command) {
  if (const std::string option = option_of(error.field, command); !option.empty()) {
    error.field = option;
  }
  std::string& text = error.remedy;
  for (std::size_t begin = text.find('\''); begin != std::string::npos;
       begin = text.find('\'', begin + 1)) {
    const std::size_t end = text.find('\'', begin + 1);
    if (end == std::string::npos) break;
    const std::string option = option_of(text.substr(begin + 1, end - begin - 1), command);
    if (!option.empty()) text.replace(begin, end - begin + 1, option);
  }
  return error;
}

}  // namespace seamwright
