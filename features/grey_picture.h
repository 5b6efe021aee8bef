#pragma once

// The grey picture in which an image circle is looked for, and its dark surround.

#include <optional>

#include <opencv2/core.hpp>

#include "imaging/image.h"
#include "projection/conventions.h"

namespace seamwright::rim {

/// At full size, and a small one without isolated hot pixels. Positions are always those of the
/// full size.
struct GreyPicture {
  cv::Mat full;
  cv::Mat coarse;
  double step_px = 1;  ///< one coarse pixel

  double width() const { return full.cols; }
  double height() const { return full.rows; }
  bool contains(const Vec2& px, double margin) const {
    return px.x() >= margin && px.y() >= margin && px.x() <= width() - margin &&
           px.y() <= height() - margin;
  }
};

[[nodiscard]] GreyPicture grey_picture_of(const Image& image);

/// Bilinear; clamped to the outermost pixel centres.
[[nodiscard]] double full_at(const GreyPicture& picture, const Vec2& px);
[[nodiscard]] double coarse_at(const GreyPicture& picture, const Vec2& px);

/// Level of the dark surround and what rises above it.
struct Surround {
  double level = 0;
  double least_rise = 0;  ///< more than this is light and not noise
  double bright = 0;      ///< above this over the level, a pixel surely belongs to the scene
};

/// From the two darkest corners: a circle leaves all of them dark, stray light may spoil some.
/// Empty where the picture is nowhere brighter than they are.
[[nodiscard]] std::optional<Surround> surround_of(const GreyPicture& picture, SampleType type);

}  // namespace seamwright::rim
