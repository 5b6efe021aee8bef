#pragma once

#include <string>
#include <utility>

#include "base/result.h"

namespace seamwright {

/// A failure of the caller's data or options.
[[nodiscard]] inline Error user_error(std::string where, std::string field, std::string what,
                                      std::string remedy) {
  return {.kind = ErrorKind::user_input,
          .where = std::move(where),
          .field = std::move(field),
          .what = std::move(what),
          .remedy = std::move(remedy)};
}

/// The same of an option.
[[nodiscard]] inline Error option_error(std::string field, std::string what, std::string remedy) {
  return user_error({}, std::move(field), std::move(what), std::move(remedy));
}

}  // namespace seamwright
