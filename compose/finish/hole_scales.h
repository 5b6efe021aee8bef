#pragma once

// A picture with a hole at other scales, and its slow changes of light.

#include <opencv2/core.hpp>

namespace seamwright {

/// Half the size, from what is known only; `half_hole`: where less than half of a pixel is known.
[[nodiscard]] cv::Mat3f half_size(const cv::Mat3f& picture, const cv::Mat1b& hole,
                                  cv::Mat1b& half_hole);

/// The hole filled smoothly: from each coarser scale where a finer one knows nothing (pull-push,
/// Gortler et al. 1996, SIGGRAPH, section 3.4.3).
[[nodiscard]] cv::Mat3f pull_push(const cv::Mat3f& picture, const cv::Mat1b& hole);

/// Changes of light slower than the hole is wide; `hole_px` is its radius.
[[nodiscard]] cv::Mat3f slow_part(const cv::Mat3f& picture, const cv::Mat1b& hole, double hole_px);

}  // namespace seamwright
