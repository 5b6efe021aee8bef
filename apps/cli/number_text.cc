#include "apps/cli/number_text.h"

#include <charconv>
#include <cmath>
#include <system_error>

namespace seamwright {

std::optional<double> number_of(std::string_view text) {
  double value = 0;
  const auto [end, code] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (code != std::errc{} || end != text.data() + text.size() || !std::isfinite(value)) {
    return std::nullopt;
  }
  return value;
}

}  // namespace seamwright
