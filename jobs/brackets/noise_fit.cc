#include "jobs/brackets/noise_fit.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "base/parallel.h"
#include "jobs/brackets/light.h"

namespace seamwright {
namespace {

constexpr int kBlock = 8;
constexpr std::size_t kFewestBlocks = 30;
constexpr int kLevelsPerStop = 2;
constexpr int kLevels = 16 * kLevelsPerStop;
// Median of a chi-squared variable over its mean, 63 degrees of freedom (Wilson and Hilferty 1931:
// (1 − 2 / 9n)³).
constexpr double kMedianOfVariance = 0.98945;

/// One block of one channel: level in the signal of the longer frame, and the variance of
/// short − ratio · long.
struct Block {
  double level = 0;
  double variance = 0;
};

/// One point of the line: variance = shot · level · ratio · (1 + ratio) + read · (1 + ratio²).
struct Point {
  double shot_factor = 0;
  double read_factor = 0;
  double variance = 0;
};

using BlockRows = std::vector<std::vector<Block>>;  // per row of blocks

struct BlockSums {
  double difference = 0, square = 0, level = 0;
  float darkest = 1, brightest = 0;
};

void add_row(std::span<const float> short_row, std::span<const float> long_row, double ratio,
             std::size_t step, std::size_t channel, std::vector<BlockSums>& sums) {
  for (std::size_t x = 0; x < sums.size() * kBlock; ++x) {
    BlockSums& sum = sums[x / kBlock];
    const float s = short_row[x * step + channel];
    const float l = long_row[x * step + channel];
    const double d = static_cast<double>(s) - ratio * static_cast<double>(l);
    sum.difference += d;
    sum.square += d * d;
    sum.level += static_cast<double>(l);
    sum.darkest = std::min(sum.darkest, s);
    sum.brightest = std::max(sum.brightest, l);
  }
}

std::vector<Block> blocks_of_row(const Exposed& shorter, const Exposed& longer, int block_row,
                                 std::size_t channel, double clip_level) {
  const Image& image = shorter.image;
  const auto step = static_cast<std::size_t>(image.channel_count());
  std::vector<BlockSums> sums(static_cast<std::size_t>(image.width() / kBlock));
  std::vector<float> short_row = light_row(image);
  std::vector<float> long_row = light_row(image);
  const double ratio = shorter.exposure / longer.exposure;
  for (int y = block_row * kBlock; y < (block_row + 1) * kBlock; ++y) {
    decode_light(shorter.image, shorter.curve, y, short_row);
    decode_light(longer.image, longer.curve, y, long_row);
    add_row(short_row, long_row, ratio, step, channel, sums);
  }
  constexpr double kCount = kBlock * kBlock;
  std::vector<Block> blocks;
  for (const BlockSums& sum : sums) {
    // A pixel that reached white or black has lost its noise.
    if (static_cast<double>(sum.brightest) >= clip_level || sum.darkest <= 0) continue;
    const double mean = sum.difference / kCount;
    blocks.push_back({.level = sum.level / kCount,
                      .variance = (sum.square - kCount * mean * mean) / (kCount - 1)});
  }
  return blocks;
}

std::vector<Point> points_of_pair(const Exposed& shorter, const Exposed& longer,
                                  std::size_t channel, double clip_level) {
  const int rows = shorter.image.height() / kBlock;
  BlockRows found(static_cast<std::size_t>(rows));
  parallel_for(0, rows, [&](int row) {
    found[static_cast<std::size_t>(row)] = blocks_of_row(shorter, longer, row, channel, clip_level);
  });
  std::array<std::vector<Block>, kLevels> levels;
  for (const auto& row : found) {
    for (const Block& block : row) {
      const int level =
          kLevels - 1 + static_cast<int>(std::floor(std::log2(block.level) * kLevelsPerStop));
      if (level >= 0 && level < kLevels) levels[static_cast<std::size_t>(level)].push_back(block);
    }
  }
  const double ratio = shorter.exposure / longer.exposure;
  std::vector<Point> points;
  for (auto& blocks : levels) {
    if (blocks.size() < kFewestBlocks) continue;
    const auto middle = blocks.begin() + static_cast<std::ptrdiff_t>(blocks.size() / 2);
    double level = 0;
    for (const Block& block : blocks) level += block.level / static_cast<double>(blocks.size());
    std::nth_element(blocks.begin(), middle, blocks.end(),
                     [](const Block& a, const Block& b) { return a.variance < b.variance; });
    points.push_back({.shot_factor = level * ratio * (1 + ratio),
                      .read_factor = 1 + ratio * ratio,
                      .variance = middle->variance / kMedianOfVariance});
  }
  return points;
}

struct Line {
  double shot = 0;
  double read = 0;
};

// Least squares of relative errors, so that every level counts alike; neither term below zero.
Line fit_line(const std::vector<Point>& points) {
  double ss = 0, sr = 0, rr = 0, s1 = 0, r1 = 0;
  for (const Point& point : points) {
    const double s = point.shot_factor / point.variance;
    const double r = point.read_factor / point.variance;
    ss += s * s;
    sr += s * r;
    rr += r * r;
    s1 += s;
    r1 += r;
  }
  const double determinant = ss * rr - sr * sr;
  Line line{.shot = (rr * s1 - sr * r1) / determinant, .read = (ss * r1 - sr * s1) / determinant};
  if (!(determinant > 0) || line.read < 0) line = {.shot = s1 / ss, .read = 0};
  if (line.shot < 0) line = {.shot = 0, .read = r1 / rr};
  return line;
}

}  // namespace

std::optional<NoiseModel> fit_noise(std::span<const Exposed> frames, double clip_level) {
  if (frames.size() < 2) return std::nullopt;
  NoiseModel model;
  const std::size_t colours = colour_count(frames.front().image);
  for (std::size_t channel = 0; channel < colours; ++channel) {
    std::vector<Point> points;
    for (std::size_t i = 1; i < frames.size(); ++i) {
      for (const Point& point : points_of_pair(frames[i - 1], frames[i], channel, clip_level)) {
        // Frames without any noise (drawn ones) have nothing to fit.
        if (point.variance > 0) points.push_back(point);
      }
    }
    constexpr std::size_t kFewestPoints = 3;
    if (points.size() < kFewestPoints) return std::nullopt;
    const Line line = fit_line(points);
    // Never none at all: weights are its inverse.
    constexpr double kLeastRead = 1e-10;
    model.shot[channel] = line.shot;
    model.read[channel] = std::max(line.read, kLeastRead);
  }
  for (std::size_t channel = colours; channel < 3; ++channel) {
    model.shot[channel] = model.shot[0];
    model.read[channel] = model.read[0];
  }
  return model;
}

}  // namespace seamwright
