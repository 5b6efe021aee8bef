#include "imaging/viridis.h"

#include <algorithm>
#include <cmath>

#include <opencv2/imgproc.hpp>

namespace seamwright {

namespace {

constexpr int kViridisColours = 256;

cv::Mat viridis_table() {
  cv::Mat index(1, kViridisColours, CV_8U);
  for (int i = 0; i < kViridisColours; ++i)
    index.at<std::uint8_t>(0, i) = static_cast<std::uint8_t>(i);
  cv::Mat bgr;
  cv::applyColorMap(index, bgr, cv::COLORMAP_VIRIDIS);
  return bgr;
}

}  // namespace

std::array<std::uint8_t, 3> viridis(double share) {
  static const cv::Mat table = viridis_table();
  const double at = std::clamp(share, 0.0, 1.0) * (kViridisColours - 1);
  const auto& bgr = table.at<cv::Vec3b>(0, static_cast<int>(std::lround(at)));
  return {bgr[2], bgr[1], bgr[0]};
}

}  // namespace seamwright
