#pragma once

#include <optional>
#include <string>

namespace seamwright::test {

/// What is wrong with the markup as XML 1.0 (section 2 and 3: tags nest and close, attributes are
/// quoted and appear once, & and < stand only where they may), without a DTD; empty when nothing.
[[nodiscard]] std::optional<std::string> markup_fault(const std::string& text);

}  // namespace seamwright::test
