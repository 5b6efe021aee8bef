#pragma once

namespace seamwright {

[[nodiscard]] constexpr double square(double x) { return x * x; }

}  // namespace seamwright
