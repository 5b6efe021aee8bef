#include "jobs/brackets/exposure_ratio.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "base/parallel.h"
#include "jobs/brackets/light.h"

namespace seamwright {
namespace {

constexpr int kTile = 16;
constexpr int kFewestTiles = 20;
constexpr double kLargestSigma = 0.03;

struct Tile {
  double log_ratio = 0;
  double sigma = 0;  ///< of log_ratio
};

struct TileSums {
  double short_sum = 0, long_sum = 0, variance = 0;
  float darkest = 1, brightest = 0;
};

std::vector<Tile> tiles_of_row(const Exposed& shorter, const Exposed& longer,
                               const NoiseModel& noise, double clip_level, int tile_row) {
  const Image& image = shorter.image;
  const auto step = static_cast<std::size_t>(image.channel_count());
  const std::size_t colours = colour_count(image);
  std::vector<TileSums> sums(static_cast<std::size_t>(image.width() / kTile));
  std::vector<float> short_row = light_row(image);
  std::vector<float> long_row = light_row(image);
  for (int y = tile_row * kTile; y < (tile_row + 1) * kTile; ++y) {
    decode_light(shorter.image, shorter.curve, y, short_row);
    decode_light(longer.image, longer.curve, y, long_row);
    for (std::size_t x = 0; x < sums.size() * kTile; ++x) {
      TileSums& sum = sums[x / kTile];
      for (std::size_t c = 0; c < colours; ++c) {
        const float s = short_row[x * step + c];
        const float l = long_row[x * step + c];
        sum.short_sum += static_cast<double>(s);
        sum.long_sum += static_cast<double>(l);
        sum.variance += noise.variance(static_cast<double>(s), c);
        sum.darkest = std::min(sum.darkest, s);
        sum.brightest = std::max(sum.brightest, l);
      }
    }
  }
  std::vector<Tile> tiles;
  for (const TileSums& sum : sums) {
    if (static_cast<double>(sum.brightest) >= clip_level || sum.darkest <= 0) continue;
    const double ratio = sum.short_sum / sum.long_sum;
    // The longer frame's noise, scaled down, is at most as large as the shorter one's.
    const double sigma = std::sqrt(sum.variance * (1 + ratio)) / sum.short_sum;
    if (sigma < kLargestSigma) tiles.push_back({std::log(ratio), sigma});
  }
  return tiles;
}

double weighted_median(std::vector<Tile>& tiles) {
  std::sort(tiles.begin(), tiles.end(),
            [](const Tile& a, const Tile& b) { return a.log_ratio < b.log_ratio; });
  double total = 0;
  for (const Tile& tile : tiles) total += 1 / (tile.sigma * tile.sigma);
  double sum = 0;
  for (const Tile& tile : tiles) {
    sum += 1 / (tile.sigma * tile.sigma);
    if (2 * sum >= total) return tile.log_ratio;
  }
  return tiles.back().log_ratio;
}

// From the median on; sigmas are floored, for a tile is also moved by what alignment left.
MeasuredRatio robust_mean(const std::vector<Tile>& tiles, double start) {
  constexpr double kFloor = 0.003;
  constexpr double kHuber = 1.345;
  double mean = start;
  double weight_sum = 0;
  int agreed = 0;
  for (int iteration = 0; iteration < 10; ++iteration) {
    double sum = 0;
    weight_sum = 0;
    agreed = 0;
    for (const Tile& tile : tiles) {
      const double sigma = std::hypot(tile.sigma, kFloor);
      const double off = std::abs(tile.log_ratio - mean) / sigma;
      if (off > 6) continue;
      const double weight = (off < kHuber ? 1.0 : kHuber / off) / (sigma * sigma);
      sum += weight * tile.log_ratio;
      weight_sum += weight;
      ++agreed;
    }
    if (!(weight_sum > 0)) break;
    mean = sum / weight_sum;
  }
  return {.ratio = std::exp(mean),
          .sigma_ev = weight_sum > 0 ? std::sqrt(1 / weight_sum) / std::log(2.0) : 0,
          .tiles = agreed};
}

}  // namespace

std::optional<MeasuredRatio> measure_ratio(const Exposed& shorter, const Exposed& longer,
                                           const NoiseModel& noise, double clip_level) {
  const int rows = shorter.image.height() / kTile;
  std::vector<std::vector<Tile>> found(static_cast<std::size_t>(rows));
  parallel_for(0, rows, [&](int row) {
    found[static_cast<std::size_t>(row)] = tiles_of_row(shorter, longer, noise, clip_level, row);
  });
  std::vector<Tile> tiles;
  for (const auto& row : found) tiles.insert(tiles.end(), row.begin(), row.end());
  if (tiles.size() < kFewestTiles) return std::nullopt;
  const MeasuredRatio measured = robust_mean(tiles, weighted_median(tiles));
  if (measured.tiles < kFewestTiles) return std::nullopt;
  return measured;
}

}  // namespace seamwright
