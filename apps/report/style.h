#pragma once

#include <string_view>

namespace seamwright::report {

/// The style sheet of every page: nothing from outside, light or dark as the reader's system is,
/// narrow screens and paper included. The classes of Svg and markup are explained in it.
[[nodiscard]] std::string_view style_sheet();

}  // namespace seamwright::report
