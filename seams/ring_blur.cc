#include "seams/ring_blur.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "base/parallel.h"

namespace seamwright {

namespace {

// Taps −radius … radius.
std::vector<float> gaussian(double sigma_px) {
  const int radius = std::max(1, static_cast<int>(std::ceil(3 * sigma_px)));
  std::vector<double> taps;
  double sum = 0;
  for (int i = -radius; i <= radius; ++i) {
    taps.push_back(std::exp(-0.5 * i * i / (sigma_px * sigma_px)));
    sum += taps.back();
  }
  std::vector<float> unit;
  for (const double tap : taps) unit.push_back(static_cast<float>(tap / sum));
  return unit;
}

int wrapped(int x, int width) { return (x % width + width) % width; }

}  // namespace

Plane blurred(const Plane& plane, double sigma_px, bool closed) {
  const std::vector<float> taps = gaussian(sigma_px);
  const int radius = static_cast<int>(taps.size() / 2);
  const int width = plane.width_px;
  const int height = plane.height_px;
  Plane down(width, height);
  parallel_for(0, height, [&](int y) {
    float* to = down.row(y);
    for (int i = std::max(-radius, -y); i <= std::min(radius, height - 1 - y); ++i) {
      const float tap = taps[static_cast<std::size_t>(i + radius)];
      const float* from = plane.row(y + i);
      for (int x = 0; x < width; ++x) to[x] += tap * from[x];
    }
  });
  Plane across(width, height);
  parallel_for(0, height, [&](int y) {
    // The row with its surroundings, so that the inner loop is straight.
    std::vector<float> wide(static_cast<std::size_t>(width + 2 * radius), 0.0F);
    const float* from = down.row(y);
    for (int x = -radius; x < width + radius; ++x) {
      const bool inside = x >= 0 && x < width;
      if (inside || closed) wide[static_cast<std::size_t>(x + radius)] = from[wrapped(x, width)];
    }
    float* to = across.row(y);
    for (int i = 0; i <= 2 * radius; ++i) {
      const float tap = taps[static_cast<std::size_t>(i)];
      const float* shifted = wide.data() + i;
      for (int x = 0; x < width; ++x) to[x] += tap * shifted[x];
    }
  });
  return across;
}

std::vector<float> blurred(const std::vector<float>& line, double sigma_px, bool closed) {
  const std::vector<float> taps = gaussian(sigma_px);
  const int radius = static_cast<int>(taps.size() / 2);
  const int width = static_cast<int>(line.size());
  std::vector<float> smooth(line.size());
  for (int x = 0; x < width; ++x) {
    float sum = 0;
    float weight = 0;
    for (int i = -radius; i <= radius; ++i) {
      if (!closed && (x + i < 0 || x + i >= width)) continue;
      const float tap = taps[static_cast<std::size_t>(i + radius)];
      sum += tap * line[static_cast<std::size_t>(wrapped(x + i, width))];
      weight += tap;
    }
    smooth[static_cast<std::size_t>(x)] = sum / weight;
  }
  return smooth;
}

}  // namespace seamwright
