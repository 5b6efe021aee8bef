#include "jobs/look/smooth_base.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "jobs/brackets/guided.h"

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
  const GuidedLines lines = guided_lines(padded(small, margin), radius, edge_variance);
  slope_ = without_margin(lines.slope, margin);
  offset_ = without_margin(lines.offset, margin);
}

double SmoothBase::at(double u, double v, double value) const {
  return between(slope_, u, v) * value + between(offset_, u, v);
}

}  // namespace seamwright
