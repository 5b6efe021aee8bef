#pragma once

#include <string>
#include <string_view>

namespace seamwright {

/// Text with & < > " made harmless in XML and HTML, also inside a quoted attribute. Characters that
/// XML does not allow stay: what becomes of them is the caller's.
[[nodiscard]] std::string escaped_markup(std::string_view text);

}  // namespace seamwright
