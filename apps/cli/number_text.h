#pragma once

#include <optional>
#include <string_view>

namespace seamwright {

/// A finite number that is the whole of a text; empty otherwise.
[[nodiscard]] std::optional<double> number_of(std::string_view text);

}  // namespace seamwright
