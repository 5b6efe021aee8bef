#include "base/out_of_range.h"

#include <fmt/format.h>

namespace seamwright {

std::optional<Error> out_of_range(const char* field, double value, double least, double most) {
  if (value >= least && value <= most) return std::nullopt;
  return Error{.kind = ErrorKind::user_input,
               .where = {},
               .field = field,
               .what = fmt::format("{} is outside {}…{}", value, least, most),
               .remedy = "give a value within"};
}

}  // namespace seamwright
