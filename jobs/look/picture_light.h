#pragma once

// How bright a panorama is and what white is in it, told from a few thousand patches of the sphere.
//
// Brightness is the mean of the middle fifth of log2 luminance over the solid angle. The mean of
// log luminance is the key of a scene in Reinhard et al. 2002 (ACM Trans. Graphics 21:267–276);
// means that are trimmed on both sides lie between mean and median (Tukey 1977, Exploratory Data
// Analysis). Nearly the median, this one says how bright the picture will look by it; four tenths
// of the sphere may be lamps, windows or night and move it hardly.
//
// White is the mode of the colours near grey, as "grey points" are looked for by Huo et al. 2006
// (IEEE Trans. Consumer Electronics 52:541–546): the mean colour of patches that are nearly grey
// under the white found so far, found anew until it stays. Each patch counts by its solid angle and
// its light, for white things are bright (Joze et al. 2012, CIC 20:41–46), and by Tukey's biweight
// of its distance (Beaton & Tukey 1974), whose radius shrinks on the way. Clipped patches say
// nothing. Papers from memory.

#include <array>
#include <optional>
#include <span>
#include <vector>

#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

/// A piece of the sphere.
struct SpherePatch {
  double weight = 0;                        ///< its solid angle, in any unit
  std::array<double, 3> light = {0, 0, 0};  ///< mean linear light, full code 1; grey three times
};

struct PictureLight {
  double level_ev = 0;    ///< log2 of luminance, full code 1
  double red_ev = 0;      ///< log2 of red over green of what is grey
  double blue_ev = 0;     ///< log2 of blue over green of it
  double grey_share = 0;  ///< of the sphere that `red_ev` and `blue_ev` were told from, 0…1

  bool operator==(const PictureLight&) const = default;
};

/// Luminance of linear light by the weights of ITU-R BT.709. Other primaries than those of sRGB are
/// weighted alike: the neutral axis is theirs, and levels differ by what colours differ.
[[nodiscard]] double luminance_of(const std::array<double, 3>& light);

/// Patches of an equirectangular panorama, at most 512 around. Samples are decoded as the picture
/// says. Black pixels, which no lens sees, count in no patch.
[[nodiscard]] Result<std::vector<SpherePatch>> patches_of(const Image& panorama);

/// log2 of luminance, the mean of the middle fifth of the weight. Nothing where all is black.
[[nodiscard]] std::optional<double> middle_ev(std::span<const SpherePatch> patches);

/// Nothing where all is black. Where nothing is near grey the share is 0 and the colours are 0.
[[nodiscard]] std::optional<PictureLight> light_of(std::span<const SpherePatch> patches);

}  // namespace seamwright
