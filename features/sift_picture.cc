#include "features/sift_picture.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <tuple>

#include <opencv2/features2d.hpp>
#include <opencv2/imgproc.hpp>

#include "base/parallel.h"

namespace seamwright {

namespace {

constexpr float kGreyPerDeviation = 40;  // ±3.2 deviations fill eight bits

cv::Mat eight_bit(const Image& normalised) {
  cv::Mat grey(normalised.height(), normalised.width(), CV_8U);
  parallel_for(0, grey.rows, [&](int y) {
    const auto from = normalised.row<float>(y);
    auto* to = grey.ptr<std::uint8_t>(y);
    for (int x = 0; x < grey.cols; ++x) {
      to[x] = cv::saturate_cast<std::uint8_t>(128 + kGreyPerDeviation *
                                                        from[static_cast<std::size_t>(x)]);
    }
  });
  return grey;
}

cv::Mat clearance_of(const Image& valid_part) {
  cv::Mat valid(valid_part.height(), valid_part.width(), CV_8U);
  for (int y = 0; y < valid.rows; ++y) {
    const auto from = valid_part.row<std::uint8_t>(y);
    std::copy(from.begin(), from.end(), valid.ptr<std::uint8_t>(y));
  }
  cv::Mat distance;
  cv::distanceTransform(valid, distance, cv::DIST_L2, cv::DIST_MASK_3);
  return distance;
}

cv::Ptr<cv::SIFT> sift(double contrast) { return cv::SIFT::create(0, 3, contrast, 10, 1.6); }

auto place(const cv::KeyPoint& key) { return std::tuple(key.pt.y, key.pt.x, key.size); }

Descriptor hellinger(const float* row) {
  float sum = 0;
  for (std::size_t i = 0; i < 128; ++i) sum += row[i];
  const float scale = sum > 0 ? 1 / sum : 0;
  Descriptor descriptor{};
  for (std::size_t i = 0; i < 128; ++i) {
    // The largest root of a share that occurs is about 0.3: use the range.
    descriptor[i] = cv::saturate_cast<std::uint8_t>(std::sqrt(row[i] * scale) * 512.0F);
  }
  return descriptor;
}

}  // namespace

SiftPicture::SiftPicture(const ResampledView& view, double contrast)
    : grey_(eight_bit(view.normalised)),
      clearance_(clearance_of(view.valid)),
      contrast_(contrast) {}

std::vector<cv::KeyPoint> SiftPicture::detect(float largest_px) const {
  std::vector<cv::KeyPoint> keys;
  sift(contrast_)->detect(grey_, keys);
  const auto unwanted = [&](const cv::KeyPoint& key) {
    if (key.size > largest_px) return true;
    const int row = std::clamp(static_cast<int>(key.pt.y + 0.5F), 0, clearance_.rows - 1);
    const int column = std::clamp(static_cast<int>(key.pt.x + 0.5F), 0, clearance_.cols - 1);
    return clearance_.at<float>(row, column) < key.size + 3;
  };
  std::erase_if(keys, unwanted);
  for (cv::KeyPoint& key : keys) key.angle = 0;
  std::sort(keys.begin(), keys.end(), [](const cv::KeyPoint& a, const cv::KeyPoint& b) {
    return std::tuple(place(a), -a.response, a.octave) <
           std::tuple(place(b), -b.response, b.octave);
  });
  const auto same = [](const cv::KeyPoint& a, const cv::KeyPoint& b) {
    return place(a) == place(b);
  };
  keys.erase(std::unique(keys.begin(), keys.end(), same), keys.end());
  return keys;
}

std::vector<Descriptor> SiftPicture::describe(std::vector<cv::KeyPoint> keys) const {
  if (keys.empty()) return {};
  cv::Mat rows;
  sift(contrast_)->compute(grey_, keys, rows);
  std::vector<Descriptor> descriptors;
  descriptors.reserve(keys.size());
  for (int i = 0; i < rows.rows; ++i) descriptors.push_back(hellinger(rows.ptr<float>(i)));
  return descriptors;
}

}  // namespace seamwright
