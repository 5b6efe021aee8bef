#pragma once

#include <CLI/CLI.hpp>

#include "base/result.h"

namespace seamwright {

/// The libraries know no command line: they name a setting by its field ("jpeg_width"), and in
/// remedies as 'jpeg_width'. Where the command has an option of that name, the error then says it
/// ("--jpeg-width").
[[nodiscard]] Error in_option_words(Error error, const CLI::App& command);

}  // namespace seamwright
