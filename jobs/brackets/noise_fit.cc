#include "jobs/brackets/noise_fit.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
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
// Lower quartile over the mean of what the mask's 36 places in a block give. Neighbours share
// pixels, so that they are worth 9.5 degrees of freedom (the same formula, at −0.6745 σ).
constexpr double kQuartileOfMask = 0.666;
// Never none at all: weights are its inverse.
constexpr double kLeastRead = 1e-10;

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

struct Level {
  double signal = 0;    // mean
  double variance = 0;  // the quantile asked for
};

// `blocks_of` gives the blocks of a row of them.
template <class BlocksOf>
std::vector<Level> levels_of(const Image& image, double quantile, const BlocksOf& blocks_of) {
  const int rows = image.height() / kBlock;
  BlockRows found(static_cast<std::size_t>(rows));
  parallel_for(0, rows, [&](int row) { found[static_cast<std::size_t>(row)] = blocks_of(row); });
  std::array<std::vector<Block>, kLevels> levels;
  for (const auto& row : found) {
    for (const Block& block : row) {
      const int level =
          kLevels - 1 + static_cast<int>(std::floor(std::log2(block.level) * kLevelsPerStop));
      if (level >= 0 && level < kLevels) levels[static_cast<std::size_t>(level)].push_back(block);
    }
  }
  std::vector<Level> told;
  for (auto& blocks : levels) {
    if (blocks.size() < kFewestBlocks) continue;
    const auto at =
        blocks.begin() + static_cast<std::ptrdiff_t>(quantile * static_cast<double>(blocks.size()));
    double signal = 0;
    for (const Block& block : blocks) signal += block.level / static_cast<double>(blocks.size());
    std::nth_element(blocks.begin(), at, blocks.end(),
                     [](const Block& a, const Block& b) { return a.variance < b.variance; });
    told.push_back({signal, at->variance});
  }
  return told;
}

std::vector<Point> points_of_pair(const Exposed& shorter, const Exposed& longer,
                                  std::size_t channel, double clip_level) {
  const double ratio = shorter.exposure / longer.exposure;
  std::vector<Point> points;
  for (const Level& level : levels_of(shorter.image, 0.5, [&](int row) {
         return blocks_of_row(shorter, longer, row, channel, clip_level);
       })) {
    points.push_back({.shot_factor = level.signal * ratio * (1 + ratio),
                      .read_factor = 1 + ratio * ratio,
                      .variance = level.variance / kMedianOfVariance});
  }
  return points;
}

// The same of one frame alone, by the mask.
std::vector<Block> masked_blocks_of_row(const Exposed& frame, int block_row, std::size_t channel,
                                        double clip_level) {
  const Image& image = frame.image;
  const auto step = static_cast<std::size_t>(image.channel_count());
  std::vector<std::vector<float>> rows(kBlock, light_row(image));
  for (int y = 0; y < kBlock; ++y) {
    decode_light(image, frame.curve, block_row * kBlock + y, rows[static_cast<std::size_t>(y)]);
  }
  std::vector<Block> blocks;
  for (std::size_t left = 0; left + kBlock <= static_cast<std::size_t>(image.width());
       left += kBlock) {
    const auto at = [&](std::size_t x, std::size_t y) {
      return static_cast<double>(rows[y][(left + x) * step + channel]);
    };
    Block block;
    double darkest = 1;
    double brightest = 0;
    for (std::size_t y = 0; y < kBlock; ++y) {
      for (std::size_t x = 0; x < kBlock; ++x) {
        block.level += at(x, y) / (kBlock * kBlock);
        darkest = std::min(darkest, at(x, y));
        brightest = std::max(brightest, at(x, y));
        if (x + 2 >= kBlock || y + 2 >= kBlock) continue;
        const auto bend = [&](std::size_t row) {
          return at(x, row) - 2 * at(x + 1, row) + at(x + 2, row);
        };
        const double masked = bend(y) - 2 * bend(y + 1) + bend(y + 2);
        constexpr double kSquaresOfMask = 36;
        constexpr double kPlaces = (kBlock - 2) * (kBlock - 2);
        block.variance += masked * masked / (kSquaresOfMask * kPlaces);
      }
    }
    // A pixel that reached white or black has lost its noise.
    if (brightest < clip_level && darkest > 0) blocks.push_back(block);
  }
  return blocks;
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
  if (points.size() < 2 || !(determinant > 0) || line.read < 0) line = {.shot = s1 / ss, .read = 0};
  if (line.shot < 0) line = {.shot = 0, .read = r1 / rr};
  return line;
}

// A code's step at black and at white, as light: their squares' twelfths.
Line noise_of_codes(const Exposed& frame, int channel) {
  const SampleType type = frame.image.type();
  const float step = type == SampleType::u8    ? 1.0F / 255
                     : type == SampleType::u16 ? 1.0F / 65535
                                               : std::numeric_limits<float>::epsilon();
  const auto light = [&](float code) {
    return static_cast<double>(frame.curve.to_linear(code, channel));
  };
  const double dark = std::pow(light(step) - light(0), 2) / 12;
  const double bright = std::pow(light(1) - light(1 - step), 2) / 12;
  return {.shot = std::max(0.0, bright - dark), .read = dark};
}

void set_channel(NoiseModel& model, std::size_t channel, const Line& line) {
  model.shot[channel] = line.shot;
  model.read[channel] = std::max(line.read, kLeastRead);
}

// Grey stands for all.
void fill_up(NoiseModel& model, std::size_t colours) {
  for (std::size_t channel = colours; channel < 3; ++channel) {
    model.shot[channel] = model.shot[0];
    model.read[channel] = model.read[0];
  }
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
    set_channel(model, channel, fit_line(points));
  }
  fill_up(model, colours);
  return model;
}

NoiseModel noise_of_frame(const Exposed& frame, double clip_level) {
  NoiseModel model;
  const std::size_t colours = colour_count(frame.image);
  for (std::size_t channel = 0; channel < colours; ++channel) {
    constexpr double kLowerQuartile = 0.25;
    std::vector<Point> points;
    for (const Level& level : levels_of(frame.image, kLowerQuartile, [&](int row) {
           return masked_blocks_of_row(frame, row, channel, clip_level);
         })) {
      const double variance = level.variance / kQuartileOfMask;
      if (variance > 0) points.push_back({level.signal, 1, variance});
    }
    const Line codes = noise_of_codes(frame, static_cast<int>(channel));
    Line line = points.empty() ? codes : fit_line(points);
    line.read = std::max(line.read, codes.read);
    set_channel(model, channel, line);
  }
  fill_up(model, colours);
  return model;
}

}  // namespace seamwright
