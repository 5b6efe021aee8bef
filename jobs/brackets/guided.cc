#include "jobs/brackets/guided.h"

#include <cmath>
#include <utility>

#include "jobs/brackets/plane.h"

namespace seamwright {

GuidedLines guided_lines(const FloatPlane& plane, int radius, double edge_variance) {
  FloatPlane square = plane;
  for (float& value : square.values) value *= value;
  FloatPlane offset = box_mean(plane, radius);  // the mean, at first
  FloatPlane slope = box_mean(square, radius);
  for (std::size_t i = 0; i < slope.values.size(); ++i) {
    const auto mean = static_cast<double>(offset.values[i]);
    const double variance = std::fmax(0.0, static_cast<double>(slope.values[i]) - mean * mean);
    const double a = variance / (variance + edge_variance);
    slope.values[i] = static_cast<float>(a);
    offset.values[i] = static_cast<float>((1 - a) * mean);
  }
  return {box_mean(slope, radius), box_mean(offset, radius)};
}

FloatPlane guided_smooth(const FloatPlane& plane, int radius, double edge_variance) {
  GuidedLines lines = guided_lines(plane, radius, edge_variance);
  for (std::size_t i = 0; i < plane.values.size(); ++i) {
    lines.offset.values[i] += lines.slope.values[i] * plane.values[i];
  }
  return std::move(lines.offset);
}

}  // namespace seamwright
