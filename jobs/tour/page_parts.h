#pragma once

#include <string_view>

namespace seamwright {

/// The files of jobs/tour/page/, built into the library.
struct PageParts {
  std::string_view frame;   ///< tour.html, with places for the others
  std::string_view style;   ///< tour.css
  std::string_view script;  ///< tour.js
};

[[nodiscard]] const PageParts& page_parts();

}  // namespace seamwright
