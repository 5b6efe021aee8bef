#pragma once

#include <stdexcept>
#include <string>
#include <string_view>

namespace seamwright::test {

/// A text in which the first `from` is `to`; throws where there is none.
[[nodiscard]] inline std::string edited(std::string text, std::string_view from,
                                        std::string_view to) {
  const auto at = text.find(from);
  if (at == std::string::npos) throw std::runtime_error("not in the text: " + std::string(from));
  return text.replace(at, from.size(), to);
}

}  // namespace seamwright::test
