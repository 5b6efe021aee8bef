#include "jobs/look/picture_light.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>

#include "base/parallel.h"
#include "imaging/transfer.h"
#include "jobs/brackets/light.h"

namespace seamwright {

namespace {

constexpr int kMostAround = 512;
/// From here on a mean may hold clipped pixels.
constexpr double kBrightest = 0.9;
/// Below the level: what is darker shows its noise and the lens' flare.
constexpr double kDarkest_ev = -3.5;
/// Of the weight at either end that the level is told without.
constexpr double kLeftOut = 0.4;
/// Radii of the biweight, in stops: wide at first, for the white may be far from the camera's.
constexpr std::array<double, 7> kRadii_ev = {0.8, 0.65, 0.55, 0.45, 0.4, 0.35, 0.35};
constexpr int kMostSteps = 40;

/// Sums of one patch while its pixels go by.
struct PatchSum {
  std::array<double, 3> light = {0, 0, 0};
  double pixels = 0;
};

// Adds a row to the patches that it crosses.
void add_row(std::span<const float> row, const Image& image, int factor,
             std::vector<PatchSum>& sums) {
  const auto step = static_cast<std::size_t>(image.channel_count());
  const bool grey = colour_count(image) == 1;
  for (std::size_t x = 0; x * step < row.size(); ++x) {
    std::array<double, 3> light{};
    for (std::size_t c = 0; c < 3; ++c) {
      light[c] = std::max(0.0, static_cast<double>(row[x * step + (grey ? 0 : c)]));
    }
    if (!(light[0] + light[1] + light[2] > 0)) continue;
    PatchSum& sum = sums[x / static_cast<std::size_t>(factor)];
    for (std::size_t c = 0; c < 3; ++c) sum.light[c] += light[c];
    sum.pixels += 1;
  }
}

/// A colour near grey: log2 over green.
struct Tint {
  double red_ev = 0;
  double blue_ev = 0;
};

struct TintedPatch {
  Tint tint;
  double weight = 0;    ///< solid angle
  double by_light = 0;  ///< solid angle × luminance
};

double distance_ev(const Tint& a, const Tint& b) {
  return std::hypot(a.red_ev - b.red_ev, a.blue_ev - b.blue_ev);
}

// What can tell a white: neither clipped nor dark.
std::vector<TintedPatch> tinted(std::span<const SpherePatch> patches, double level_ev) {
  std::vector<TintedPatch> all;
  for (const SpherePatch& patch : patches) {
    const auto& [red, green, blue] = patch.light;
    if (!(std::min({red, green, blue}) > 0) || std::max({red, green, blue}) > kBrightest) continue;
    const double luminance = luminance_of(patch.light);
    if (std::log2(luminance) < level_ev + kDarkest_ev) continue;
    all.push_back({.tint = {std::log2(red / green), std::log2(blue / green)},
                   .weight = patch.weight,
                   .by_light = patch.weight * luminance});
  }
  return all;
}

// The mean of what lies around, by Tukey's biweight; `around` where nothing does.
Tint mean_around(std::span<const TintedPatch> patches, const Tint& around, double radius_ev) {
  double sum = 0;
  Tint mean;
  for (const TintedPatch& patch : patches) {
    const double share = distance_ev(patch.tint, around) / radius_ev;
    if (share >= 1) continue;
    const double weight = patch.by_light * (1 - share * share) * (1 - share * share);
    sum += weight;
    mean.red_ev += weight * patch.tint.red_ev;
    mean.blue_ev += weight * patch.tint.blue_ev;
  }
  return sum > 0 ? Tint{mean.red_ev / sum, mean.blue_ev / sum} : around;
}

Tint white_of(std::span<const TintedPatch> patches) {
  constexpr double kStays_ev = 1e-4;
  Tint white;
  for (const double radius_ev : kRadii_ev) {
    for (int step = 0; step < kMostSteps; ++step) {
      const Tint before = white;
      white = mean_around(patches, before, radius_ev);
      if (distance_ev(white, before) < kStays_ev) break;
    }
  }
  return white;
}

}  // namespace

double luminance_of(const std::array<double, 3>& light) {
  return 0.2126 * light[0] + 0.7152 * light[1] + 0.0722 * light[2];
}

Result<std::vector<SpherePatch>> patches_of(const Image& panorama) {
  const auto curve = TransferCurve::of(panorama);
  if (!curve) return tl::unexpected(curve.error());
  const int factor = (panorama.width() + kMostAround - 1) / kMostAround;
  const int columns = (panorama.width() + factor - 1) / factor;
  const int rows = (panorama.height() + factor - 1) / factor;
  std::vector<std::vector<PatchSum>> sums(static_cast<std::size_t>(rows));
  parallel_for(0, rows, [&](int patch_row) {
    auto& own = sums[static_cast<std::size_t>(patch_row)];
    own.resize(static_cast<std::size_t>(columns));
    std::vector<float> light = light_row(panorama);
    const int end = std::min(panorama.height(), (patch_row + 1) * factor);
    for (int y = patch_row * factor; y < end; ++y) {
      decode_light(panorama, *curve, y, light);
      add_row(light, panorama, factor, own);
    }
  });
  std::vector<SpherePatch> patches;
  for (int row = 0; row < rows; ++row) {
    const double latitude_rad = std::numbers::pi * (0.5 - (row + 0.5) * factor / panorama.height());
    for (const PatchSum& sum : sums[static_cast<std::size_t>(row)]) {
      if (!(sum.pixels > 0)) continue;
      patches.push_back({.weight = sum.pixels * std::max(0.0, std::cos(latitude_rad)),
                         .light = {sum.light[0] / sum.pixels, sum.light[1] / sum.pixels,
                                   sum.light[2] / sum.pixels}});
    }
  }
  return patches;
}

std::optional<double> middle_ev(std::span<const SpherePatch> patches) {
  std::vector<std::pair<double, double>> levels;  // log2 luminance, weight
  double total = 0;
  for (const SpherePatch& patch : patches) {
    const double luminance = luminance_of(patch.light);
    if (!(luminance > 0) || !(patch.weight > 0)) continue;
    levels.emplace_back(std::log2(luminance), patch.weight);
    total += patch.weight;
  }
  if (levels.empty()) return std::nullopt;
  std::sort(levels.begin(), levels.end());
  double sum = 0, counted = 0, before = 0;
  for (const auto& [level, weight] : levels) {
    // What of the patch lies in the middle.
    const double inside =
        std::min(before + weight, (1 - kLeftOut) * total) - std::max(before, kLeftOut * total);
    before += weight;
    if (!(inside > 0)) continue;
    sum += inside * level;
    counted += inside;
  }
  return sum / counted;
}

std::optional<PictureLight> light_of(std::span<const SpherePatch> patches) {
  const auto level = middle_ev(patches);
  if (!level) return std::nullopt;
  PictureLight light{.level_ev = *level};
  const std::vector<TintedPatch> telling = tinted(patches, *level);
  const Tint white = white_of(telling);
  double total = 0, grey = 0;
  for (const SpherePatch& patch : patches) total += patch.weight;
  for (const TintedPatch& patch : telling) {
    if (distance_ev(patch.tint, white) < kRadii_ev.back()) grey += patch.weight;
  }
  light.grey_share = grey / total;
  if (!(grey > 0)) return light;
  light.red_ev = white.red_ev;
  light.blue_ev = white.blue_ev;
  return light;
}

}  // namespace seamwright
