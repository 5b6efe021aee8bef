#pragma once

// How different two colours look.

#include <array>

namespace seamwright {

/// CIE 1976 L*a*b*.
struct Lab {
  double l = 0;
  double a = 0;
  double b = 0;
};

/// Lab, under D65, of linear light in the primaries of sRGB (IEC 61966-2-1), white at 1.
[[nodiscard]] Lab lab_from_linear_srgb(const std::array<double, 3>& light);

/// CIEDE2000 colour difference with kL = kC = kH = 1, as written down by Sharma, Wu & Dalal 2005
/// (Color Res. Appl. 30:21–30). About 1 can just be told apart.
[[nodiscard]] double delta_e2000(const Lab& first, const Lab& second);

}  // namespace seamwright
