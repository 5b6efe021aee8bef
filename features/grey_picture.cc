#include "features/grey_picture.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <opencv2/imgproc.hpp>

#include "features/circle_fit.h"
#include "imaging/convert.h"

namespace seamwright::rim {

namespace {

constexpr int kCoarseSide_px = 1024;

double bilinear(const cv::Mat& grey, double u, double v) {
  const double x = std::clamp(u - 0.5, 0.0, grey.cols - 1.0);
  const double y = std::clamp(v - 0.5, 0.0, grey.rows - 1.0);
  const int x0 = std::min(static_cast<int>(x), std::max(0, grey.cols - 2));
  const int y0 = std::min(static_cast<int>(y), std::max(0, grey.rows - 2));
  const double ax = x - x0;
  const double ay = y - y0;
  const auto* top = grey.ptr<float>(y0) + x0;
  const auto* bottom = grey.ptr<float>(std::min(y0 + 1, grey.rows - 1)) + x0;
  const int right = grey.cols > 1 ? 1 : 0;
  const double above =
      static_cast<double>(top[0]) * (1 - ax) + static_cast<double>(top[right]) * ax;
  const double below =
      static_cast<double>(bottom[0]) * (1 - ax) + static_cast<double>(bottom[right]) * ax;
  return above * (1 - ay) + below * ay;
}

std::vector<float> values_of(const cv::Mat& grey) {
  std::vector<float> values;
  for (int y = 0; y < grey.rows; ++y) {
    values.insert(values.end(), grey.ptr<float>(y), grey.ptr<float>(y) + grey.cols);
  }
  return values;
}

}  // namespace

double full_at(const GreyPicture& picture, const Vec2& px) {
  return bilinear(picture.full, px.x(), px.y());
}

double coarse_at(const GreyPicture& picture, const Vec2& px) {
  return bilinear(picture.coarse, px.x() * picture.coarse.cols / picture.width(),
                  px.y() * picture.coarse.rows / picture.height());
}

GreyPicture grey_picture_of(const Image& image) {
  const Image grey = to_grey_f32(image);
  GreyPicture picture;
  picture.full.create(grey.height(), grey.width(), CV_32F);
  for (int y = 0; y < grey.height(); ++y) {
    const auto row = grey.row<float>(y);
    std::transform(row.begin(), row.end(), picture.full.ptr<float>(y),
                   [](float value) { return std::isfinite(value) ? value : 0.0F; });
  }
  const int side = std::max(grey.width(), grey.height());
  const int shrink = (side + kCoarseSide_px - 1) / kCoarseSide_px;
  cv::Mat without_hot_pixels;
  cv::medianBlur(picture.full, without_hot_pixels, 3);
  cv::resize(without_hot_pixels, picture.coarse,
             {std::max(1, grey.width() / shrink), std::max(1, grey.height() / shrink)}, 0, 0,
             cv::INTER_AREA);
  picture.step_px = static_cast<double>(side) / std::max(picture.coarse.cols, picture.coarse.rows);
  return picture;
}

std::optional<Surround> surround_of(const GreyPicture& picture, SampleType type) {
  const cv::Mat& grey = picture.coarse;
  const int side = std::max(4, std::min(grey.cols, grey.rows) / 25);
  if (grey.cols < 4 * side || grey.rows < 4 * side) return std::nullopt;
  struct Corner {
    float level, deviation;
  };
  std::vector<Corner> corners;
  for (const int x : {0, grey.cols - side}) {
    for (const int y : {0, grey.rows - side}) {
      std::vector<float> values = values_of(grey(cv::Rect(x, y, side, side)));
      const float level = quantile(values, 0.5);
      for (float& value : values) value = std::abs(value - level);
      // Not the median: quantised samples mostly have none.
      corners.push_back({level, quantile(values, 0.9) / 1.645F});
    }
  }
  std::sort(corners.begin(), corners.end(),
            [](const Corner& a, const Corner& b) { return a.level < b.level; });
  const double brightest = static_cast<double>(quantile(values_of(grey), 0.98));
  const double level = static_cast<double>(corners[1].level);
  const double deviation =
      static_cast<double>(std::max(corners[0].deviation, corners[1].deviation));
  // Half a code value of 8 bits; finer samples are told from the surround by their noise.
  const double quantum = type == SampleType::u8 ? 0.5 / 255 : 0.001 * (brightest - level);
  const double least_rise = std::max(6 * deviation, quantum);
  const Surround surround{level, least_rise, std::max(4 * least_rise, 0.1 * (brightest - level))};
  if (brightest - level < 4 * surround.least_rise) return std::nullopt;
  return surround;
}

}  // namespace seamwright::rim
