#pragma once

// Which offset each pixel of a hole takes.

#include <vector>

#include <opencv2/core.hpp>

namespace seamwright {

/// The offsets that blocks around the hole agree on, strongest first.
[[nodiscard]] std::vector<cv::Point> common_offsets(const cv::Mat3f& picture, const cv::Mat1b& hole,
                                                    double hole_px);

/// Whether a place can be taken from.
[[nodiscard]] inline bool is_known(const cv::Mat1b& hole, cv::Point at) {
  return at.x >= 0 && at.y >= 0 && at.x < hole.cols && at.y < hole.rows && hole(at) == 0;
}

/// An offset's index for each pixel of the hole, −1 outside of it and where none reaches.
[[nodiscard]] cv::Mat1i offset_labels(const cv::Mat3f& picture, const cv::Mat1b& hole,
                                      const std::vector<cv::Point>& offsets, double hole_px);

}  // namespace seamwright
