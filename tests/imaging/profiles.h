#pragma once

// ICC profiles made by lcms2 alone.

#include <functional>
#include <memory>
#include <vector>

#include <lcms2.h>

#include "imaging/image.h"

namespace seamwright::test {

inline std::vector<std::byte> saved_profile(cmsHPROFILE profile) {
  cmsUInt32Number size = 0;
  cmsSaveProfileToMem(profile, nullptr, &size);
  std::vector<std::byte> bytes(size);
  cmsSaveProfileToMem(profile, bytes.data(), &size);
  cmsCloseProfile(profile);
  return bytes;
}

/// RGB with one curve; takes the curve over.
inline std::vector<std::byte> rgb_profile(cmsToneCurve* curve) {
  const cmsCIExyY white = {0.3127, 0.3290, 1.0};
  const cmsCIExyYTRIPLE primaries = {{0.68, 0.32, 1.0}, {0.265, 0.69, 1.0}, {0.15, 0.06, 1.0}};
  cmsToneCurve* curves[] = {curve, curve, curve};
  auto bytes = saved_profile(cmsCreateRGBProfile(&white, &primaries, curves));
  cmsFreeToneCurve(curve);
  return bytes;
}

inline std::vector<std::byte> gamma_profile(double gamma) {
  return rgb_profile(cmsBuildGamma(nullptr, gamma));
}

inline std::vector<std::byte> grey_gamma_profile(double gamma) {
  const cmsCIExyY white = {0.3127, 0.3290, 1.0};
  cmsToneCurve* curve = cmsBuildGamma(nullptr, gamma);
  auto bytes = saved_profile(cmsCreateGrayProfile(&white, curve));
  cmsFreeToneCurve(curve);
  return bytes;
}

/// RGB with a table of 16-bit knots.
inline std::vector<std::byte> table_profile(int knots,
                                            const std::function<double(double)>& decode) {
  std::vector<cmsUInt16Number> table(static_cast<std::size_t>(knots));
  for (int i = 0; i < knots; ++i) {
    table[static_cast<std::size_t>(i)] =
        static_cast<cmsUInt16Number>(65535.0 * decode(static_cast<double>(i) / (knots - 1)) + 0.5);
  }
  return rgb_profile(
      cmsBuildTabulatedToneCurve16(nullptr, static_cast<cmsUInt32Number>(knots), table.data()));
}

}  // namespace seamwright::test
