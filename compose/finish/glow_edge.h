#pragma once

// One pixel beside a bright edge: what it would be without glow.

#include <optional>

#include <opencv2/core.hpp>

namespace seamwright {

/// Where and how glow is looked for.
struct GlowSearch {
  double reach_px = 3;  ///< rows
  bool clips = true;    ///< the picture ends at white
  double strength = 1;  ///< 0…1
};

/// Rows around a pixel that are looked at.
[[nodiscard]] int glow_margin(double reach_px);

/// Linear light, RGB, at (x, y) of a picture that goes on for glow_margin() rows around it, and for
/// `stretch` (1 / cos of the latitude) times as many columns. Nothing where there is no glow.
[[nodiscard]] std::optional<cv::Vec3f> without_glow(const cv::Mat3f& light, cv::Point at,
                                                    double stretch, const GlowSearch& search);

/// Whether a pixel may have glow, by itself and the least and the most green around it.
[[nodiscard]] bool may_glow(const cv::Vec3f& light, float least_green, float most_green);

}  // namespace seamwright
