#include "features/edge_profile.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

namespace seamwright {

namespace {

constexpr double kStep_px = 0.25;
constexpr double kBlur_px = 0.75;  // of the sharp spline plane: its Gaussian and the spline's own

// Rise along `across` every kStep_px from −reach to reach, averaged along the edge.
std::vector<double> rises(const SplinePlane& plane, const Vec2& px, const Vec2& across,
                          double half_width_px, int side) {
  const Vec2 along(-across.y(), across.x());
  const int lanes = 2 * std::max(1, static_cast<int>(std::lround(half_width_px))) + 1;
  std::vector<double> sums(static_cast<std::size_t>(2 * side + 1), 0.0);
  for (int lane = 0; lane < lanes; ++lane) {
    const Vec2 start = px + half_width_px * (2.0 * lane / (lanes - 1) - 1) * along;
    for (int k = -side; k <= side; ++k) {
      const Vec2 at = start + k * kStep_px * across;
      const SplinePlane::Sample sample = plane.sample(at.x(), at.y());
      sums[static_cast<std::size_t>(k + side)] +=
          across.dot(Vec2(static_cast<double>(sample.du), static_cast<double>(sample.dv))) / lanes;
    }
  }
  return sums;
}

// The top of a parabola through three neighbours, in steps, and its bend.
struct Top {
  double shift = 0;
  double value = 0;
  double bend = 0;
};
Top top_of(double before, double at, double after) {
  Top top{.bend = before - 2 * at + after};
  top.shift = top.bend < 0 ? 0.5 * (before - after) / top.bend : 0;
  top.value = at - 0.25 * (before - after) * top.shift;
  return top;
}

// Deviation of the profile's second derivative from white noise σ = 1, averaged over a width along
// the edge. A Gaussian blur s of white noise has second derivatives of variance 3 / (16 π s⁶) and
// an autocorrelation length of 2 √π s.
double slope_noise(double half_width_px) {
  const double single = std::sqrt(3.0 / (16.0 * kPi)) / std::pow(kBlur_px, 3);
  const double length_px = 2 * std::sqrt(kPi) * kBlur_px;
  return single / std::sqrt(std::max(1.0, 2 * half_width_px / length_px));
}

}  // namespace

std::optional<EdgeCrossing> cross_edge(const SplinePlane& plane, const Vec2& px, const Vec2& across,
                                       double half_width_px, double noise,
                                       const EdgeProfileOptions& options) {
  const int side = static_cast<int>(std::ceil((options.reach_px + options.clear_px) / kStep_px));
  const double margin = side * kStep_px + half_width_px;
  if (!plane.contains(px - Vec2(margin, margin)) || !plane.contains(px + Vec2(margin, margin))) {
    return std::nullopt;
  }
  const std::vector<double> rise = rises(plane, px, across, half_width_px, side);
  const int reach = static_cast<int>(options.reach_px / kStep_px);
  int peak = side - reach;
  for (int k = side - reach; k <= side + reach; ++k) {
    if (rise[static_cast<std::size_t>(k)] > rise[static_cast<std::size_t>(peak)]) peak = k;
  }
  if (peak == side - reach || peak == side + reach) return std::nullopt;
  const auto at = [&](int k) { return rise[static_cast<std::size_t>(k)]; };
  if (!(at(peak) >= options.least_gradient)) return std::nullopt;
  const int clear = static_cast<int>(options.clear_px / kStep_px);
  for (int k = std::max(1, peak - clear); k <= std::min(2 * side - 1, peak + clear); ++k) {
    if (k == peak) continue;
    const double size = std::abs(at(k));
    const bool extreme = size >= std::abs(at(k - 1)) && size >= std::abs(at(k + 1));
    if (extreme && size > options.other_share * at(peak)) return std::nullopt;
  }
  const Top top = top_of(at(peak - 1), at(peak), at(peak + 1));
  const double bend_px = -top.bend / (kStep_px * kStep_px);
  if (!(bend_px > 0)) return std::nullopt;
  return EdgeCrossing{
      .offset_px = (peak - side + top.shift) * kStep_px,
      .sigma_px = std::hypot(options.least_sigma_px, noise * slope_noise(half_width_px) / bend_px)};
}

double white_noise(const Image& grey) {
  std::vector<float> responses;
  for (int y = 1; y + 1 < grey.height(); y += 2) {
    const auto above = grey.row<float>(y - 1);
    const auto row = grey.row<float>(y);
    const auto below = grey.row<float>(y + 1);
    for (std::size_t x = 1; x + 1 < row.size(); x += 2) {
      if (row[x] == 0) continue;
      responses.push_back(std::abs(above[x - 1] - 2 * above[x] + above[x + 1] - 2 * row[x - 1] +
                                   4 * row[x] - 2 * row[x + 1] + below[x - 1] - 2 * below[x] +
                                   below[x + 1]));
    }
  }
  if (responses.empty()) return 0;
  const auto middle = responses.begin() + static_cast<std::ptrdiff_t>(responses.size() / 2);
  std::nth_element(responses.begin(), middle, responses.end());
  constexpr double kMaskGain = 6;      // root of the mask's sum of squares
  constexpr double kMedian = 0.67449;  // of |N(0, 1)|
  return static_cast<double>(*middle) / (kMaskGain * kMedian);
}

}  // namespace seamwright
