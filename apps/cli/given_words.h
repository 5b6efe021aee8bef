#pragma once

#include <set>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>

namespace seamwright {

/// The words that repeat a command from any folder: what it was called with, paths absolute, values
/// joined to their options by '='. Options of `left_out`, named with their dashes, are not among
/// them. Made from the options themselves, so that none can be forgotten.
[[nodiscard]] std::vector<std::string> given_words(const CLI::App& command,
                                                   const std::set<std::string>& left_out);

}  // namespace seamwright
