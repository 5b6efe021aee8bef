#pragma once

#include <string>

#include "base/result.h"
#include "templates/shot_file.h"

namespace seamwright {

/// A tie as the command line writes it: two or more sights LENS:U,V, then in any order its range
/// (open, near, far) and sigma=PIXELS, with spaces between:
///
///   0:1893.5,1010.25 1:104,1004.5 far sigma=0.5
///
/// The refusal quotes the part that is wrong.
[[nodiscard]] Result<ManualTie> parse_tie(const std::string& text, int lens_count);

}  // namespace seamwright
