#include "jobs/look/smooth_base.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

namespace seamwright {

namespace {

// With columns of the other end on both sides.
FloatPlane padded(const FloatPlane& plane, int margin) {
  FloatPlane wide(plane.width + 2 * margin, plane.height);
  for (int y = 0; y < plane.height; ++y) {
    auto row = wide.row(y);
    for (int x = 0; x < wide.width; ++x) {
      const int from = ((x - margin) % plane.width + plane.width) % plane.width;
      row[static_cast<std::size_t>(x)] = plane.at(from, y);
    }
  }
  return wide;
}

FloatPlane without_margin(const FloatPlane& wide, int margin) {
  FloatPlane plane(wide.width - 2 * margin, wide.height);
  for (int y = 0; y < plane.height; ++y) {
    const auto row = wide.row(y).subspan(static_cast<std::size_t>(margin));
    std::copy_n(row.begin(), plane.width, plane.row(y).begin());
  }
  return plane;
}

// Bilinear between pixel centres; columns go around, rows end.
double between(const FloatPlane& plane, double u, double v) {
  const double x = u - 0.5;
  const double y = std::clamp(v - 0.5, 0.0, plane.height - 1.0);
  const int left = static_cast<int>(std::floor(x));
  const int top = std::min(static_cast<int>(y), std::max(0, plane.height - 2));
  const int below = std::min(top + 1, plane.height - 1);
  const double across = x - left;
  const double down = y - top;
  const int a = left < 0 ? left + plane.width : left;
  const int b = left + 1 < plane.width ? left + 1 : 0;
  const auto value = [&](int at, int row) { return static_cast<double>(plane.at(at, row)); };
  return (1 - down) * ((1 - across) * value(a, top) + across * value(b, top)) +
         down * ((1 - across) * value(a, below) + across * value(b, below));
}

}  // namespace

SmoothBase::SmoothBase(const FloatPlane& small, int radius, double edge_variance) {
  const int margin = 2 * radius;
  const FloatPlane wide = padded(small, margin);
  FloatPlane square = wide;
  for (float& value : square.values) value *= value;
  FloatPlane offset = box_mean(wide, radius);  // the mean, at first
  FloatPlane slope = box_mean(square, radius);
  for (std::size_t i = 0; i < slope.values.size(); ++i) {
    const auto mean = static_cast<double>(offset.values[i]);
    const double variance = std::fmax(0.0, static_cast<double>(slope.values[i]) - mean * mean);
    const double a = variance / (variance + edge_variance);
    slope.values[i] = static_cast<float>(a);
    offset.values[i] = static_cast<float>((1 - a) * mean);
  }
  slope_ = without_margin(box_mean(slope, radius), margin);
  offset_ = without_margin(box_mean(offset, radius), margin);
}

double SmoothBase::at(double u, double v, double value) const {
  return between(slope_, u, v) * value + between(offset_, u, v);
}

}  // namespace seamwright
