#pragma once

#include <string>

#include <CLI/CLI.hpp>

#include "base/result.h"

namespace seamwright {

/// The libraries know no command line: they name a setting by its field ("jpeg_width"), and in
/// remedies as 'jpeg_width'. Where the command has an option of that name, the error then says it
/// ("--jpeg-width").
[[nodiscard]] Error in_option_words(Error error, const CLI::App& command);
/// The same of a line that holds settings in quotes, such as a finding: 'anyway' becomes --anyway.
/// What is no option of this command, but a command or an option of another one, becomes that:
/// 'touch' is 'seamwright touch' then.
[[nodiscard]] std::string in_option_words(std::string text, const CLI::App& command);

}  // namespace seamwright
