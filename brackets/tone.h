#pragma once

// From scene light to a display: one global curve, stated here, and nothing hidden.
//
//   x = exposure · light
//   y = x                                                            x ≤ knee
//   y = knee + (1 − knee) · ln(1 + s (x − knee)) / ln(1 + s (white − knee))   above
//
// s is such that both parts meet with slope 1, so shadows and middle tones stay proportional to
// light, and from the knee on each stop takes a like share of what is left up to `white`, which
// becomes 1. The curve works on the largest of the three channels and scales all three alike:
// hues stay, and no channel clips alone.

#include <optional>
#include <span>

#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

struct ToneCurve {
  double exposure = 1;  ///< light becomes x by this factor; above 0
  double white = 1;     ///< x that is shown as white; 1 or less: a straight line, cut at 1
  double knee = 0.25;   ///< 0.01…0.9

  [[nodiscard]] std::optional<Error> validate() const;
};

/// The curve with its s worked out.
class ToneMap {
 public:
  explicit ToneMap(const ToneCurve& curve);

  /// Display light 0…1 of scene light.
  [[nodiscard]] double operator()(double light) const;

 private:
  ToneCurve curve_;
  double slope_ = 0;  ///< s
  double scale_ = 0;  ///< (1 − knee) / ln(…)
};

/// A curve for these pictures (all lenses of one shot, or one panorama) together: their mean log
/// light goes to 0.22, by at most 4 stops up or down, and the brightest 0.05 % to white. Dark
/// surroundings (lower than 14 stops below the brightest) are left out.
[[nodiscard]] ToneCurve choose_tone(std::span<const Image* const> pictures);

struct DisplayOptions {
  ToneCurve tone;
  /// How far large differences of light are levelled before the curve, 0…1: 0 is the global curve
  /// alone. The picture is parted into a smooth base and detail by a guided filter on log light
  /// (He, Sun, Tang 2013), the base's stops are scaled by 1 − 0.6 · local about the middle grey,
  /// detail is kept.
  double local = 0;

  [[nodiscard]] std::optional<Error> validate() const;
};

/// A 16-bit picture for displays of float linear light: tone, then the sRGB curve (IEC 61966-2-1)
/// on the picture's own primaries, with a profile that says so.
[[nodiscard]] Result<Image> for_display(const Image& light, const DisplayOptions& options);

}  // namespace seamwright
