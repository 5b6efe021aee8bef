#include "compose/seams/lens_depth.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <utility>

#include "base/parallel.h"
#include "compose/seams/cost_kernels.h"

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

void remove_speckle(Image& plane, bool closed) {
  const Image from = plane;
  const int width = plane.width();
  const int height = plane.height();
  const std::size_t padded = static_cast<std::size_t>(width) + 2;
  parallel_for(0, height, [&](int y) {
    std::vector<float> around(3 * padded);  // with a column more at both ends
    for (int dy = -1; dy <= 1; ++dy) {
      const float* row = from.row<float>(std::clamp(y + dy, 0, height - 1)).data();
      float* to = around.data() + static_cast<std::size_t>(dy + 1) * padded;
      to[0] = row[closed ? width - 1 : 0];
      std::copy_n(row, width, to + 1);
      to[width + 1] = row[closed ? 0 : width - 1];
    }
    median_row({around.data() + 1, around.data() + padded + 1, around.data() + 2 * padded + 1},
               static_cast<std::size_t>(width), plane.row<float>(y).data());
  });
}

}  // namespace

LensDepth best_depth(const std::vector<std::int16_t>& sums, const CostVolume& volume,
                     const Strip& reference, const DepthLabels& labels) {
  const int width = volume.width_px;
  const int height = volume.height_px;
  LensDepth depth{.inverse_m = Image(width, height, Channels::grey, SampleType::f32),
                  .confidence = Image(width, height, Channels::grey, SampleType::f32),
                  .visibility = Image(width, height, Channels::grey, SampleType::u8)};
  parallel_for(0, height, [&](int y) {
    const auto inverse = depth.inverse_m.row<float>(y);
    const auto confidence = depth.confidence.row<float>(y);
    const auto visibility = depth.visibility.row<std::uint8_t>(y);
    const auto seen = reference.valid.row<std::uint8_t>(y);
    for (int x = 0; x < width; ++x) {
      const auto i = static_cast<std::size_t>(x);
      const LabelRun& run = volume.windows.at(x, y);
      const Choice choice = choose(sums.data() + volume.windows.index(x, y), run.count);
      const float label = static_cast<float>(run.first) + choice.label;
      inverse[i] = label * static_cast<float>(labels.step_inverse_m);
      confidence[i] = seen[i] != 0 ? choice.confidence : 0;
      visibility[i] = static_cast<std::uint8_t>(seen[i] != 0 ? Visibility::both : Visibility::none);
    }
  });
  remove_speckle(depth.inverse_m, volume.closed);
  return depth;
}

}  // namespace seamwright
