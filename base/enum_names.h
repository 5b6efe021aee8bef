#pragma once

// An enumeration has one table of names, in its order; these look up both ways.

#include <algorithm>
#include <array>
#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace seamwright {

template <class Enum, std::size_t N>
[[nodiscard]] constexpr std::string_view name_in(const std::array<std::string_view, N>& names,
                                                 Enum value) {
  return names[static_cast<std::size_t>(value)];
}

/// Empty for a word that is none of the names.
template <class Enum, std::size_t N>
[[nodiscard]] std::optional<Enum> enum_of(const std::array<std::string_view, N>& names,
                                          std::string_view word) {
  const auto found = std::find(names.begin(), names.end(), word);
  if (found == names.end()) return std::nullopt;
  return static_cast<Enum>(found - names.begin());
}

/// As a parser of options takes them.
template <std::size_t N>
[[nodiscard]] std::vector<std::string> all_of_names(const std::array<std::string_view, N>& names) {
  return {names.begin(), names.end()};
}

}  // namespace seamwright
