#include "features/rim_profile.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>

#include "base/parallel.h"

namespace seamwright::rim {

namespace {

// The rim is where light ends: the foot of the profile's outermost strong rise, this share of it.
constexpr double kFootShare = 0.05;
// By how much the foot of a perfectly sharp rim lies outside of it, from the pixels' own extent and
// the interpolation between them.
constexpr double kPixelBlur_px = 0.88;

// Brightness along one ray across the rim at full size, averaged over the ray's share of the rim.
struct RimProfile {
  std::vector<double> light;  // inside first
  double begin = 0;           // radius of light[0], px
  double step = 0.5;
};

std::optional<RimProfile> rim_profile(const GreyPicture& picture, const Circle& circle, int ray,
                                      int rays, double reach_px) {
  const double sector = 2 * kPi / rays;
  const int neighbours = std::clamp(static_cast<int>(circle.radius * sector), 1, 16);
  RimProfile profile;
  profile.begin = circle.radius - reach_px;
  profile.light.assign(static_cast<std::size_t>(2 * reach_px / profile.step) + 1, 0);
  for (int n = 0; n < neighbours; ++n) {
    const double angle = sector * (ray + (n + 0.5) / neighbours - 0.5);
    const Vec2 along(std::cos(angle), std::sin(angle));
    if (!picture.contains(circle.centre + (circle.radius + reach_px) * along, 1) ||
        !picture.contains(circle.centre + profile.begin * along, 1)) {
      return std::nullopt;
    }
    for (std::size_t k = 0; k < profile.light.size(); ++k) {
      const Vec2 px =
          circle.centre + (profile.begin + static_cast<double>(k) * profile.step) * along;
      profile.light[k] += full_at(picture, px) / neighbours;
    }
  }
  return profile;
}

struct Crossing {
  double radius_px = 0;
  double softness_px = 0;  // from the foot to half of the rise
};

// Position k, in samples, where the profile falls through `level`, from outside.
std::optional<double> falls_through(const RimProfile& profile, double level, int begin, int end) {
  for (int k = end - 1; k > begin; --k) {
    const double inner = profile.light[static_cast<std::size_t>(k - 1)];
    const double outer = profile.light[static_cast<std::size_t>(k)];
    if (inner >= level && outer < level) return k - 1 + (inner - level) / (inner - outer);
  }
  return std::nullopt;
}

// The rim in a profile, told from `window_px` on both sides of its outermost strong rise; empty
// where it is dark up to the rim.
std::optional<Crossing> crossing_of(const RimProfile& profile, const Surround& surround,
                                    double window_px) {
  const int count = static_cast<int>(profile.light.size());
  const int half = std::max(2, static_cast<int>(window_px / profile.step));
  const auto mean = [&](int begin, int end) {
    double sum = 0;
    for (int k = begin; k < end; ++k) sum += profile.light[static_cast<std::size_t>(k)];
    return sum / (end - begin);
  };
  const auto rise_at = [&](int k) { return mean(k - half, k) - mean(k, k + half); };
  double steepest = 0;
  for (int k = half; k <= count - half; ++k) steepest = std::max(steepest, rise_at(k));
  if (steepest < surround.least_rise) return std::nullopt;
  int at = count - half;
  while (rise_at(at) < std::max(surround.least_rise, steepest / 3)) --at;
  while (at > half && rise_at(at - 1) >= rise_at(at)) --at;
  const int begin = at - 2 * half;
  const int end = at + 2 * half;
  if (begin < 0 || end > count) return std::nullopt;
  const double inside = mean(begin, at - half);
  const double outside = mean(at + half, end);
  const double contrast = inside - outside;
  if (contrast < std::max(surround.least_rise, (outside - surround.level) / 2)) {
    return std::nullopt;
  }
  const double foot = std::max(kFootShare * contrast, surround.least_rise / 2);
  const auto low = falls_through(profile, outside + std::min(foot, contrast / 2), begin, end);
  const auto middle = falls_through(profile, outside + contrast / 2, begin, end);
  if (!low || !middle) return std::nullopt;
  return Crossing{profile.begin + profile.step * *low - kPixelBlur_px,
                  profile.step * (*low - *middle)};
}

}  // namespace

RimPoints rim_points(const GreyPicture& picture, const Surround& surround, const Circle& circle,
                     int rays, double window_px) {
  const double reach_px = 4 * window_px + 4;
  std::vector<std::optional<Crossing>> found(static_cast<std::size_t>(rays));
  parallel_for(0, rays, [&](int i) {
    const auto profile = rim_profile(picture, circle, i, rays, reach_px);
    if (profile) found[static_cast<std::size_t>(i)] = crossing_of(*profile, surround, window_px);
  });
  RimPoints points;
  std::vector<double> softness;
  for (int i = 0; i < rays; ++i) {
    const auto& crossing = found[static_cast<std::size_t>(i)];
    if (!crossing) continue;
    const double angle = 2 * kPi * i / rays;
    points.px.emplace_back(circle.centre +
                           crossing->radius_px * Vec2(std::cos(angle), std::sin(angle)));
    softness.push_back(crossing->softness_px);
  }
  if (!softness.empty()) points.softness_px = quantile(softness, 0.5);
  return points;
}

}  // namespace seamwright::rim
