#pragma once

// To add a lens model: write projection/curves/<name>.h with `name`, `theta_limit_rad` and
// `radius(theta)` templated on the scalar, and add it to the list below. The list yields run-time
// dispatch, the names in template files and the typed tests; nothing else needs to change.

#include <string_view>
#include <tuple>
#include <utility>

#include "projection/curves/equidistant.h"
#include "projection/curves/equisolid.h"
#include "projection/curves/orthographic.h"
#include "projection/curves/stereographic.h"

namespace seamwright {

using LensCurves =
    std::tuple<EquidistantCurve, EquisolidCurve, StereographicCurve, OrthographicCurve>;

/// Index into LensCurves.
enum class LensCurve : unsigned char { equidistant, equisolid, stereographic, orthographic };

inline constexpr int kLensCurveCount = static_cast<int>(std::tuple_size_v<LensCurves>);

/// Calls `function(Curve{})` with the curve type that `curve` names.
template <class Function>
decltype(auto) with_curve(LensCurve curve, Function&& function) {
  switch (curve) {
    case LensCurve::equisolid:
      return std::forward<Function>(function)(EquisolidCurve{});
    case LensCurve::stereographic:
      return std::forward<Function>(function)(StereographicCurve{});
    case LensCurve::orthographic:
      return std::forward<Function>(function)(OrthographicCurve{});
    case LensCurve::equidistant:
      break;
  }
  return std::forward<Function>(function)(EquidistantCurve{});
}

[[nodiscard]] inline std::string_view curve_name(LensCurve curve) {
  return with_curve(curve, [](auto c) { return decltype(c)::name; });
}

}  // namespace seamwright
