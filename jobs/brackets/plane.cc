#include "jobs/brackets/plane.h"

#include <algorithm>
#include <functional>

#include "base/parallel.h"

namespace seamwright {
namespace {

// Calls body(y, first, last) with the rows of the window around y.
void for_windows(int height, int radius, const std::function<void(int, int, int)>& body) {
  parallel_for(0, height,
               [&](int y) { body(y, std::max(0, y - radius), std::min(height, y + radius + 1)); });
}

// Running sums: the cost does not grow with the radius.
void mean_along(std::span<const double> sums, std::span<float> out, int radius, int rows) {
  const int width = static_cast<int>(sums.size());
  double sum = 0;
  for (int i = 0; i < std::min(radius, width); ++i) sum += sums[static_cast<std::size_t>(i)];
  for (int x = 0; x < width; ++x) {
    const int first = std::max(0, x - radius);
    const int last = std::min(width, x + radius + 1);
    if (x + radius < width) sum += sums[static_cast<std::size_t>(x + radius)];
    out[static_cast<std::size_t>(x)] = static_cast<float>(sum / (rows * (last - first)));
    if (x - radius >= 0) sum -= sums[static_cast<std::size_t>(x - radius)];
  }
}

template <class T>
Plane<T> largest_around(const Plane<T>& plane, int radius) {
  Plane<T> across(plane.width, plane.height);
  parallel_for(0, plane.height, [&](int y) {
    const auto in = plane.row(y);
    auto out = across.row(y);
    for (int x = 0; x < plane.width; ++x) {
      const auto first = in.begin() + std::max(0, x - radius);
      const auto last = in.begin() + std::min(plane.width, x + radius + 1);
      out[static_cast<std::size_t>(x)] = *std::max_element(first, last);
    }
  });
  Plane<T> result = across;
  for_windows(plane.height, radius, [&](int y, int first, int last) {
    auto out = result.row(y);
    for (int row = first; row < last; ++row) {
      const auto in = across.row(row);
      for (std::size_t x = 0; x < in.size(); ++x) out[x] = std::max(out[x], in[x]);
    }
  });
  return result;
}

}  // namespace

FloatPlane box_mean(const FloatPlane& plane, int radius) {
  FloatPlane result(plane.width, plane.height);
  constexpr int kBand = 64;
  parallel_for(0, (plane.height + kBand - 1) / kBand, [&](int band) {
    std::vector<double> sums(static_cast<std::size_t>(plane.width), 0.0);
    const auto add = [&](int y, double sign) {
      const auto values = plane.row(y);
      for (std::size_t x = 0; x < values.size(); ++x) {
        sums[x] += sign * static_cast<double>(values[x]);
      }
    };
    const int top = band * kBand;
    for (int y = std::max(0, top - radius); y < std::min(plane.height, top + radius); ++y) {
      add(y, 1);
    }
    for (int y = top; y < std::min(plane.height, top + kBand); ++y) {
      if (y + radius < plane.height) add(y + radius, 1);
      const int rows = std::min(plane.height, y + radius + 1) - std::max(0, y - radius);
      mean_along(sums, result.row(y), radius, rows);
      if (y - radius >= 0) add(y - radius, -1);
    }
  });
  return result;
}

Mask grown(const Mask& mask, int radius) { return largest_around(mask, radius); }
FloatPlane grown(const FloatPlane& plane, int radius) { return largest_around(plane, radius); }

Mask distance_to(const Mask& mask, int limit) {
  Mask distance(mask.width, mask.height, static_cast<std::uint8_t>(limit));
  Mask reached = mask;
  for (int step = 0; step < limit; ++step) {
    parallel_for(0, mask.height, [&](int y) {
      const auto in = reached.row(y);
      auto out = distance.row(y);
      for (std::size_t x = 0; x < in.size(); ++x) {
        if (in[x] != 0) out[x] = std::min(out[x], static_cast<std::uint8_t>(step));
      }
    });
    if (step + 1 < limit) reached = grown(reached, 1);
  }
  return distance;
}

}  // namespace seamwright
