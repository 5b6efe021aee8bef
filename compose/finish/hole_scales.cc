#include "compose/finish/hole_scales.h"

#include <algorithm>

#include <opencv2/imgproc.hpp>

namespace seamwright {

cv::Mat3f half_size(const cv::Mat3f& picture, const cv::Mat1b& hole, cv::Mat1b& half_hole) {
  const cv::Size size((picture.cols + 1) / 2, (picture.rows + 1) / 2);
  cv::Mat1b outside;
  cv::compare(hole, 0, outside, cv::CMP_EQ);
  cv::Mat1f known;
  outside.convertTo(known, CV_32F, 1.0 / 255);
  cv::Mat3f weighted = picture.clone();
  weighted.setTo(cv::Scalar::all(0), hole);
  cv::Mat3f sum;
  cv::Mat1f weight;
  cv::resize(weighted, sum, size, 0, 0, cv::INTER_AREA);
  cv::resize(known, weight, size, 0, 0, cv::INTER_AREA);
  for (int y = 0; y < size.height; ++y) {
    for (int x = 0; x < size.width; ++x) {
      if (weight(y, x) > 0) sum(y, x) *= 1 / weight(y, x);
    }
  }
  cv::compare(weight, 0.5, half_hole, cv::CMP_LT);
  return sum;
}

cv::Mat3f pull_push(const cv::Mat3f& picture, const cv::Mat1b& hole) {
  if (cv::countNonZero(hole) == 0 || std::min(picture.cols, picture.rows) <= 2) return picture;
  cv::Mat1b half_hole;
  const cv::Mat3f half = half_size(picture, hole, half_hole);
  const cv::Mat3f coarse = pull_push(half, half_hole);
  cv::Mat3f up;
  cv::resize(coarse, up, picture.size(), 0, 0, cv::INTER_LINEAR);
  cv::Mat3f out = picture.clone();
  up.copyTo(out, hole);
  return out;
}

cv::Mat3f slow_part(const cv::Mat3f& picture, const cv::Mat1b& hole, double hole_px) {
  const cv::Mat3f whole = pull_push(picture, hole);
  const double sigma = std::max(hole_px / 3, 2.0);
  const double shrink = std::max(sigma / 6, 1.0);
  cv::Mat3f small;
  cv::resize(whole, small, {}, 1 / shrink, 1 / shrink, cv::INTER_AREA);
  cv::GaussianBlur(small, small, {}, sigma / shrink, sigma / shrink, cv::BORDER_REPLICATE);
  cv::Mat3f out;
  cv::resize(small, out, picture.size(), 0, 0, cv::INTER_CUBIC);
  return out;
}

}  // namespace seamwright
