#include "compose/seams/ring_blur.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include "base/parallel.h"
#include "compose/seams/blend_kernels.h"

namespace seamwright {

namespace {

int reach_of(double sigma_px) { return std::max(1, static_cast<int>(std::ceil(3 * sigma_px))); }

// A Gaussian around `middle` on `count` places from `first` on, of sum 1.
std::vector<float> gaussian(double sigma_px, double middle, int first, int count) {
  std::vector<double> taps;
  double sum = 0;
  for (int i = 0; i < count; ++i) {
    const double off = (first + i - middle) / sigma_px;
    taps.push_back(std::exp(-0.5 * off * off));
    sum += taps.back();
  }
  std::vector<float> unit;
  for (const double tap : taps) unit.push_back(static_cast<float>(tap / sum));
  return unit;
}

// Taps −radius … radius.
std::vector<float> gaussian(double sigma_px) {
  const int radius = reach_of(sigma_px);
  return gaussian(sigma_px, 0, -radius, 2 * radius + 1);
}

struct Taps {
  int first = 0;  // place of the first
  std::vector<float> tap;
};

// What each of `coarse_count` middles, spread over `count` places, is summed from.
std::vector<Taps> taps_at(double sigma_px, int count, int coarse_count) {
  const int radius = reach_of(sigma_px);
  std::vector<Taps> all;
  for (int i = 0; i < coarse_count; ++i) {
    const double middle = (i + 0.5) * count / coarse_count - 0.5;
    const int first = static_cast<int>(std::floor(middle)) - radius;
    all.push_back({first, gaussian(sigma_px, middle, first, 2 * radius + 2)});
  }
  return all;
}

// In four sums, so that none waits for the one before.
float dot(const std::vector<float>& tap, const float* from) {
  std::array<float, 4> sum{};
  std::size_t i = 0;
  for (; i + 4 <= tap.size(); i += 4) {
    for (std::size_t k = 0; k < 4; ++k) sum[k] += tap[i + k] * from[i + k];
  }
  for (; i < tap.size(); ++i) sum[0] += tap[i] * from[i];
  return (sum[0] + sum[1]) + (sum[2] + sum[3]);
}

int wrapped(int x, int width) { return (x % width + width) % width; }

// Repeats the ring around a row that begins at `radius`; beyond an open one's ends is nothing.
void surround(std::vector<float>& wide, int width, int radius, bool closed) {
  if (!closed) return;
  for (int i = 0; i < radius; ++i) {
    wide[static_cast<std::size_t>(i)] =
        wide[static_cast<std::size_t>(radius + wrapped(i - radius, width))];
    wide[static_cast<std::size_t>(radius + width + i)] =
        wide[static_cast<std::size_t>(radius + i % width)];
  }
}

}  // namespace

FloatPlane blurred(const FloatPlane& plane, double sigma_px, bool closed) {
  const std::vector<float> taps = gaussian(sigma_px);
  const int radius = static_cast<int>(taps.size() / 2);
  const int width = plane.width;
  const int height = plane.height;
  FloatPlane across(width, height);
  parallel_for(0, height, [&](int y) {
    // The row with its surroundings, so that the inner loop is straight.
    std::vector<float> wide(static_cast<std::size_t>(width + 2 * radius), 0.0F);
    const int first = std::max(-radius, -y);
    const int last = std::min(radius, height - 1 - y);
    add_rows(taps.data() + first + radius, last - first + 1, plane.line(y + first), width, width,
             wide.data() + radius);
    surround(wide, width, radius, closed);
    add_rows(taps.data(), 2 * radius + 1, wide.data(), 1, width, across.line(y));
  });
  return across;
}

FloatPlane reduced(const FloatPlane& plane, double sigma_px, int width_px, int height_px,
                   bool closed) {
  const int width = plane.width;
  const std::vector<Taps> columns = taps_at(sigma_px, width, width_px);
  const std::vector<Taps> rows = taps_at(sigma_px, plane.height, height_px);
  const int radius = reach_of(sigma_px) + 1;
  FloatPlane small(width_px, height_px);
  parallel_for(0, height_px, [&](int y) {
    std::vector<float> wide(static_cast<std::size_t>(width + 2 * radius), 0.0F);
    const Taps& down = rows[static_cast<std::size_t>(y)];
    const int first = std::max(0, down.first);
    const int last = std::min(plane.height, down.first + static_cast<int>(down.tap.size()));
    add_rows(down.tap.data() + (first - down.first), last - first, plane.line(first), width, width,
             wide.data() + radius);
    surround(wide, width, radius, closed);
    float* to = small.line(y);
    for (int x = 0; x < width_px; ++x) {
      const Taps& across = columns[static_cast<std::size_t>(x)];
      to[x] = dot(across.tap, wide.data() + radius + across.first);
    }
  });
  return small;
}

FloatPlane enlarged(const FloatPlane& coarse, int width_px, int height_px, bool closed) {
  struct Between {
    int from, to;
    float part;
  };
  const auto between = [](int at, int count, int coarse_count, bool around) {
    const double place = (at + 0.5) * coarse_count / count - 0.5;
    const double whole = std::floor(place);
    const int from = static_cast<int>(whole);
    const auto held = [&](int i) {
      return around ? wrapped(i, coarse_count) : std::clamp(i, 0, coarse_count - 1);
    };
    return Between{held(from), held(from + 1), static_cast<float>(place - whole)};
  };
  std::vector<Between> columns;
  for (int x = 0; x < width_px; ++x) {
    columns.push_back(between(x, width_px, coarse.width, closed));
  }
  FloatPlane fine(width_px, height_px);
  parallel_for(0, height_px, [&](int y) {
    const Between down = between(y, height_px, coarse.height, false);
    const float* above = coarse.line(down.from);
    const float* below = coarse.line(down.to);
    std::vector<float> row(static_cast<std::size_t>(coarse.width));
    for (int x = 0; x < coarse.width; ++x) {
      row[static_cast<std::size_t>(x)] = above[x] + down.part * (below[x] - above[x]);
    }
    float* to = fine.line(y);
    for (int x = 0; x < width_px; ++x) {
      const Between& at = columns[static_cast<std::size_t>(x)];
      const float left = row[static_cast<std::size_t>(at.from)];
      to[x] = left + at.part * (row[static_cast<std::size_t>(at.to)] - left);
    }
  });
  return fine;
}

FloatPlane widely_blurred(const FloatPlane& plane, double sigma_px, bool closed) {
  const int factor = static_cast<int>(sigma_px / kLeastSigma_px);
  if (factor < 2) return blurred(plane, sigma_px, closed);
  const auto part = [factor](int count) { return (count + factor - 1) / factor; };
  const FloatPlane coarse = reduced(plane, sigma_px, part(plane.width), part(plane.height), closed);
  return enlarged(coarse, plane.width, plane.height, closed);
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
