#pragma once

// The names in a shot file, shared by its reader and its writer.

#include <string>
#include <string_view>

#include "templates/choice_names.h"
#include "templates/template_keys.h"

namespace seamwright {

inline constexpr std::string_view kShotFormat = "seamwright-shot";

/// A touched term's key for its name: a file holds angles in degrees, "lens1.rotation_x_deg", and
/// calls the terms of a lens by `terms`.
[[nodiscard]] inline std::string touch_key(std::string name,
                                           const LensTermNames& terms = kLensTermNames) {
  constexpr std::string_view kRadians = "_rad";
  if (name.ends_with(kRadians))
    name.replace(name.size() - kRadians.size(), kRadians.size(), "_deg");
  return renamed_term(name, kLensTermNames, terms);
}

/// True where the term of that name is an angle.
[[nodiscard]] inline bool is_angle(std::string_view name) { return name.ends_with("_rad"); }

}  // namespace seamwright
