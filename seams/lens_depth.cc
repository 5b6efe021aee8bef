#include "seams/lens_depth.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <utility>

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

// Straight loops over 16 bits: many labels at a time.
std::int16_t least_of(const std::int16_t* sums, int begin, int end) {
  std::int16_t least = std::numeric_limits<std::int16_t>::max();
  for (int k = begin; k < end; ++k) least = std::min(least, sums[k]);
  return least;
}

Choice choose(const std::int16_t* sums, int labels) {
  constexpr int kSameChoice = 2;  // labels this close are no rivals
  const int best =
      static_cast<int>(std::find(sums, sums + labels, least_of(sums, 0, labels)) - sums);
  const int rival = std::min(least_of(sums, 0, best - kSameChoice),
                             least_of(sums, best + kSameChoice + 1, labels));
  const auto margin = static_cast<float>(rival - sums[best]);
  Choice choice{.label = static_cast<float>(best), .confidence = margin / (margin + kSureMargin)};
  if (best > 0 && best + 1 < labels) {
    choice.label += vertex_offset(sums[best - 1], sums[best], sums[best + 1]);
  }
  return choice;
}

void sort_two(float& low, float& high) {
  const float least = std::min(low, high);
  high = std::max(low, high);
  low = least;
}

// Median of nine by 19 exchanges (after Paeth, Graphics Gems, 1990, from memory; right for all 512
// patterns of zeros and ones, and so for all values).
float median_of_nine(std::array<float, 9> v) {
  constexpr std::array<std::pair<int, int>, 19> kExchanges = {{{1, 2},
                                                               {4, 5},
                                                               {7, 8},
                                                               {0, 1},
                                                               {3, 4},
                                                               {6, 7},
                                                               {1, 2},
                                                               {4, 5},
                                                               {7, 8},
                                                               {0, 3},
                                                               {5, 8},
                                                               {4, 7},
                                                               {3, 6},
                                                               {1, 4},
                                                               {2, 5},
                                                               {4, 7},
                                                               {4, 2},
                                                               {6, 4},
                                                               {4, 2}}};
  for (const auto& [low, high] : kExchanges) {
    sort_two(v[static_cast<std::size_t>(low)], v[static_cast<std::size_t>(high)]);
  }
  return v[4];
}

void remove_speckle(Image& plane, bool closed) {
  const Image from = plane;
  const int width = plane.width();
  const int height = plane.height();
  const auto median_at = [&](int x, int y, int left, int right) {
    std::array<float, 9> around;
    std::size_t count = 0;
    for (int dy = -1; dy <= 1; ++dy) {
      const float* row = from.row<float>(std::clamp(y + dy, 0, height - 1)).data();
      for (const int there : {left, x, right}) around[count++] = row[there];
    }
    return median_of_nine(around);
  };
  parallel_for(0, height, [&](int y) {
    float* to = plane.row<float>(y).data();
    for (int x = 1; x + 1 < width; ++x) to[x] = median_at(x, y, x - 1, x + 1);
    to[0] = median_at(0, y, closed ? width - 1 : 0, std::min(1, width - 1));
    to[width - 1] = median_at(width - 1, y, std::max(0, width - 2), closed ? 0 : width - 1);
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
      const LabelRun& run = volume.windows.at(x, y);
      const Choice choice = choose(sums.data() + volume.windows.index(x, y), run.count);
      const float label = static_cast<float>(run.first) + choice.label;
      inverse[i] = label * static_cast<float>(labels.step_inverse_m);
      confidence[i] = seen[i] != 0 ? choice.confidence : 0;
      sight[i] = static_cast<std::uint8_t>(seen[i] != 0 ? Sight::both : Sight::none);
    }
  });
  remove_speckle(depth.inverse_m, volume.closed);
  return depth;
}

}  // namespace seamwright
