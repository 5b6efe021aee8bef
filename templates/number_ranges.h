#pragma once

// What every number in a file may be. The ranges are far wider than any body needs: they keep out
// slips of the hand and what arithmetic cannot carry (the square of a spread of 1e160 is infinite).

#include <span>
#include <string>
#include <string_view>

namespace seamwright {

struct NumberRange {
  std::string_view key;   ///< its place in the file, "lenses.focal_px"
  std::string_view unit;  ///< in words; empty: none
  double least;
  double most;
};

/// Every number of template, shot and run files that is not a whole one.
[[nodiscard]] std::span<const NumberRange> number_ranges();

/// The range of a field as errors name it, "lenses[1].rotation_deg[2]": places in lists and numbers
/// of lenses do not matter. Fields that the table does not hold get one of ±1e9.
[[nodiscard]] NumberRange range_of(std::string_view field);

/// "lenses.rotation_deg" of "lenses[1].rotation_deg[2]", "touch.terms.radial_1" of
/// "touch.terms.lens0.radial_1"; names of older versions become the present ones.
[[nodiscard]] std::string range_key(std::string_view field);

}  // namespace seamwright
