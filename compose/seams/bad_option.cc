#include "compose/seams/bad_option.h"

#include <fmt/format.h>

namespace seamwright {

Error bad_option(std::string_view part, std::string_view field, double value,
                 std::string_view constraint) {
  return {.kind = ErrorKind::user_input,
          .where = {},
          .field = fmt::format("{} {}", part, field),
          .what = fmt::format("{} is not {}", value, constraint),
          .remedy = "give a value in that range"};
}

}  // namespace seamwright
