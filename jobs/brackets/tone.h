#pragma once

// From scene light to a display: one global curve, stated here, and nothing hidden. What it is to
// do, with x = gain · light of the largest of the three channels and y the display light:
//
//   1. Shadows and middle tones stay proportional to light: y = x up to `straight_to`, slope 1.
//   2. `brightest` is shown as white, exactly: y(brightest) = 1.
//   3. What is brighter is shown brighter, all the way: y rises.
//   4. No place in a gradient shows where the curve begins to bend: y'' is continuous (a jump of it
//      is seen as an edge, Mach's band).
//   5. Far up, each stop of light gets a like share of what is left: the slope falls as 1 / x.
//   6. Hues stay and no channel clips alone: all three channels are scaled as the largest is.
//
// With z = x − straight_to, 1, 4 and 5 ask for a slope of 1 that leaves with slope 0 at z = 0 and
// falls as 1 / z. The plainest is 1 / √(1 + (z / bend)²), which never reaches zero (3). Its
// integral is
//
//   y = straight_to + bend · asinh(z / bend)
//
// and 2 sets the one length left: bend · asinh((brightest − straight_to) / bend) = 1 − straight_to,
// which has one root, as the left side rises with `bend` from 0 to brightest − straight_to. An
// asinh that starts at black is known from pictures of the sky (Lupton et al. 2004, PASP
// 116:133–137).

#include <optional>
#include <span>

#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

struct DisplayCurve {
  double gain = 1;            ///< light becomes x by this factor; above 0
  double brightest = 1;       ///< x that is shown as white; 1 or less: a straight line, cut at 1
  double straight_to = 0.25;  ///< 0.01…0.9

  [[nodiscard]] std::optional<Error> validate() const;
};

/// The curve with its bend worked out.
class DisplayMap {
 public:
  explicit DisplayMap(const DisplayCurve& curve);

  /// Display light 0…1 of scene light.
  [[nodiscard]] double operator()(double light) const;

 private:
  DisplayCurve curve_;
  double bend_ = 0;
};

/// A curve for these pictures (all lenses of one shot, or one panorama) together: their mean log
/// light goes to 0.22, by at most 4 stops up or down, and the brightest 0.05 % to white. Dark
/// surroundings (lower than 14 stops below the brightest) are left out.
[[nodiscard]] DisplayCurve choose_curve(std::span<const Image* const> pictures);

struct DisplayOptions {
  DisplayCurve curve;
  /// How far large differences of light are levelled before the curve, 0…1: 0 is the global curve
  /// alone. The picture is parted into a smooth base and detail by a guided filter on log light
  /// (He, Sun, Tang 2013), the base's stops are scaled by 1 − 0.6 · local about the middle grey,
  /// detail is kept.
  double local = 0;

  [[nodiscard]] std::optional<Error> validate() const;
};

/// How a person wishes the display picture to be.
struct ToneWish {
  double brighter_ev = 0;  ///< brighter than what is found, -8…8 stops
  double local = 0;        ///< as DisplayOptions has it
};

/// What choose_curve() finds for these pictures, with the wish.
[[nodiscard]] DisplayOptions display_options(const ToneWish& wish,
                                             std::span<const Image* const> pictures);

/// A 16-bit picture for displays of float linear light: the curve above, then the sRGB curve (IEC
/// 61966-2-1) on the picture's own primaries, with a profile that says so.
[[nodiscard]] Result<Image> for_display(const Image& light, const DisplayOptions& options);

}  // namespace seamwright
