#pragma once

#include <optional>

#include "base/result.h"

namespace seamwright {

/// Refuses a setting that does not lie within; nothing where it does. NaN lies nowhere.
[[nodiscard]] std::optional<Error> out_of_range(const char* field, double value, double least,
                                                double most);

}  // namespace seamwright
