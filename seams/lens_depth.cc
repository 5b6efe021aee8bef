#include "seams/lens_depth.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>

#include "base/parallel.h"

namespace seamwright {

namespace {

constexpr float kSureMargin = 120;  // of the sums: a confidence of one half

struct Choice {
  float label = 0;
  float confidence = 0;
};

// Two straight lines of equal and opposite slope through the three lowest sums: absolute
// differences have such minima (Shimizu and Okutomi 2001 compare it with the parabola).
float vertex_offset(float before, float at, float after) {
  const float steeper = std::max(before, after) - at;
  return steeper > 0 ? 0.5F * (before - after) / steeper : 0;
}

Choice choose(const std::int16_t* sums, int labels) {
  const int best = static_cast<int>(std::min_element(sums, sums + labels) - sums);
  int rival = std::numeric_limits<std::int16_t>::max();
  for (int k = 0; k < labels; ++k) {
    if (std::abs(k - best) > 2) rival = std::min(rival, static_cast<int>(sums[k]));
  }
  const auto margin = static_cast<float>(rival - sums[best]);
  Choice choice{.label = static_cast<float>(best), .confidence = margin / (margin + kSureMargin)};
  if (best > 0 && best + 1 < labels) {
    choice.label += vertex_offset(sums[best - 1], sums[best], sums[best + 1]);
  }
  return choice;
}

void remove_speckle(Image& plane, bool closed) {
  const Image from = plane;
  const int width = plane.width();
  parallel_for(0, plane.height(), [&](int y) {
    const auto to = plane.row<float>(y);
    for (int x = 0; x < width; ++x) {
      std::array<float, 9> around{};
      std::size_t count = 0;
      for (int dy = -1; dy <= 1; ++dy) {
        const auto row = from.row<float>(std::clamp(y + dy, 0, plane.height() - 1));
        for (int dx = -1; dx <= 1; ++dx) {
          const int there = closed ? (x + dx + width) % width : std::clamp(x + dx, 0, width - 1);
          around[count++] = row[static_cast<std::size_t>(there)];
        }
      }
      std::nth_element(around.begin(), around.begin() + 4, around.end());
      to[static_cast<std::size_t>(x)] = around[4];
    }
  });
}

}  // namespace

LensDepth best_depth(const std::vector<std::int16_t>& sums, const CostVolume& volume,
                     const Strip& reference, const DepthLabels& labels) {
  const int width = volume.width_px;
  const int height = volume.height_px;
  LensDepth depth{.inverse_m = Image(width, height, Channels::grey, SampleType::f32),
                  .confidence = Image(width, height, Channels::grey, SampleType::f32),
                  .sight = Image(width, height, Channels::grey, SampleType::u8)};
  parallel_for(0, height, [&](int y) {
    const auto inverse = depth.inverse_m.row<float>(y);
    const auto confidence = depth.confidence.row<float>(y);
    const auto sight = depth.sight.row<std::uint8_t>(y);
    const auto seen = reference.valid.row<std::uint8_t>(y);
    for (int x = 0; x < width; ++x) {
      const auto i = static_cast<std::size_t>(x);
      const Choice choice = choose(sums.data() + volume.index(x, y), volume.labels);
      inverse[i] = choice.label * static_cast<float>(labels.step_inverse_m);
      confidence[i] = seen[i] != 0 ? choice.confidence : 0;
      sight[i] = static_cast<std::uint8_t>(seen[i] != 0 ? Sight::both : Sight::none);
    }
  });
  remove_speckle(depth.inverse_m, volume.closed);
  return depth;
}

}  // namespace seamwright
