#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include <catch2/catch.hpp>

#include "base/parallel.h"
#include "jobs/brackets/merge.h"
#include "tests/brackets/room_with_ball.h"
#include "tests/brackets/synthetic_brackets.h"

using namespace seamwright;
using test::Photograph;
using test::Random;
using test::room_with_ball;
using test::seed;

namespace {

constexpr int kWidth = test::kRoomWidth_px;
constexpr int kHeight = test::kRoomHeight_px;
constexpr double kWindowRadius_px = 40;
constexpr double kWallLight = 0.05;
constexpr double kWindowLight = 6.0;

/// A round window in a wall, even around it, papered farther away.
double window(double u, double v, int channel) {
  const double r = std::hypot(u - 0.5 * kWidth, v - 0.5 * kHeight);
  const double tint = channel == 0 ? 0.8 : 1.0;
  if (r < kWindowRadius_px) return tint * kWindowLight;
  const double paper = std::clamp((r - kWindowRadius_px - 8) / 8, 0.0, 1.0);
  return tint * kWallLight * (1 + 0.5 * paper * std::sin(0.3 * u) * std::sin(0.25 * v));
}

const std::vector<double> kExposures = {0.125, 1, 4};

using Pixel = std::array<double, 3>;

// Mean difference to a scene over 5 × 5 pixels: noise mostly averages out, a ghost does not.
Pixel mean_difference(const Image& merged, const test::Radiance& scene, int x, int y) {
  Pixel mean{};
  for (int v = y - 2; v <= y + 2; ++v) {
    const auto row = merged.row<float>(v);
    for (int u = x - 2; u <= x + 2; ++u) {
      for (int c = 0; c < 3; ++c) {
        const auto value = static_cast<double>(row[static_cast<std::size_t>(3 * u + c)]);
        mean[static_cast<std::size_t>(c)] += (value - scene(u + 0.5, v + 0.5, c)) / 25;
      }
    }
  }
  return mean;
}

// Energy of what is in none of the scenes: the least squared difference to any of them, over the
// rows where the ball rolls.
double ghost_energy(const Image& merged, const std::vector<test::Radiance>& scenes) {
  double energy = 0;
  for (int y = test::kBallTop_px; y < test::kBallBottom_px; ++y) {
    for (int x = 2; x < kWidth - 2; ++x) {
      double least = std::numeric_limits<double>::infinity();
      for (const auto& scene : scenes) {
        const Pixel d = mean_difference(merged, scene, x, y);
        least = std::min(least, d[0] * d[0] + d[1] * d[1] + d[2] * d[2]);
      }
      energy += least;
    }
  }
  return energy;
}

struct Profile {
  double inside = 0;   ///< mean over truth on a ring 5 px inside the window's edge
  double outside = 0;  ///< on a ring 5 px outside
};

Profile ring_means(const Image& merged) {
  double sums[2] = {0, 0};
  int counts[2] = {0, 0};
  for (int y = 0; y < kHeight; ++y) {
    const auto row = merged.row<float>(y);
    for (int x = 0; x < kWidth; ++x) {
      const double r =
          std::hypot(x + 0.5 - 0.5 * kWidth, y + 0.5 - 0.5 * kHeight) - kWindowRadius_px;
      if (std::abs(std::abs(r) - 5) > 0.7) continue;
      const int k = r < 0 ? 0 : 1;
      sums[k] += static_cast<double>(row[static_cast<std::size_t>(3 * x + 1)]);
      ++counts[k];
    }
  }
  return {sums[0] / counts[0] / kWindowLight, sums[1] / counts[1] / kWallLight};
}

}  // namespace

TEST_CASE("A ball that rolls on is one ball in the merge") {
  CAPTURE(seed());
  Random random(21);
  // Apart from frame to frame, and overlapping.
  const double step_px = GENERATE(70.0, 20.0);
  CAPTURE(step_px);
  std::vector<test::Radiance> scenes;
  std::vector<Frame> frames;
  for (std::size_t i = 0; i < 3; ++i) {
    scenes.push_back(room_with_ball(120 + step_px * static_cast<double>(i)));
    frames.push_back(
        test::photograph(kWidth, kHeight, scenes.back(), {.exposure = kExposures[i]}, random));
  }
  const auto merged = merge_brackets(frames, kExposures);
  const auto naive = merge_brackets(frames, kExposures, {.resolve_motion = false});
  REQUIRE(merged);
  REQUIRE(naive);
  const double share =
      ghost_energy(merged->frame.image, scenes) / ghost_energy(naive->frame.image, scenes);
  INFO("ghost energy " << 100 * share << " % of the naive merge's");
  CAPTURE(share, merged->report.moved_share);
  CHECK(share < 0.01);
  CHECK(merged->report.moved_regions >= 1);
  // All three balls and little more: 3 discs of 26 px and the room that growing takes.
  CHECK(merged->report.moved_share < 0.25);
  // It is the reference's ball.
  CHECK(merged->report.reference == 1);
  const auto middle = merged->frame.image.row<float>(140);
  const auto at = static_cast<std::size_t>(3 * static_cast<int>(120 + step_px) + 1);
  CHECK(middle[at] > 0.25F);
}

TEST_CASE("A window's edge has no halo, standing still or not") {
  CAPTURE(seed());
  Random random(22);
  const double shift_px = GENERATE(0.0, 1.37);
  CAPTURE(shift_px);
  std::vector<Frame> frames;
  for (const double exposure : kExposures) {
    Photograph how{.exposure = exposure, .rays = 3};
    how.shift_u_px = shift_px * std::log2(exposure);
    frames.push_back(test::photograph(kWidth, kHeight, window, how, random));
  }
  const auto merged = merge_brackets(frames, kExposures);
  REQUIRE(merged);
  const Profile profile = ring_means(merged->frame.image);
  CAPTURE(merged->report.moved_share);
  CHECK(merged->report.moved_share == 0);
  INFO("5 px inside " << profile.inside << ", outside " << profile.outside << " of the truth");
  CHECK(profile.inside == Approx(1).margin(0.01));
  CHECK(profile.outside == Approx(1).margin(0.01));
}

TEST_CASE("A burst of three steps by eight is averaged") {
  CAPTURE(seed());
  Random random(23);
  std::vector<Frame> frames;
  std::vector<double> exposures;
  // Series by series, as a body with a fast shutter would give them.
  for (int i = 0; i < 24; ++i) {
    exposures.push_back(kExposures[static_cast<std::size_t>(i % 3)]);
    frames.push_back(test::photograph(
        96, 64, [](double, double, int) { return 0.02; }, {.exposure = exposures.back()}, random));
  }
  const auto merged = merge_brackets(frames, exposures, {.align = false});
  REQUIRE(merged);
  double sum = 0, square = 0;
  const Image& image = merged->frame.image;
  for (int y = 0; y < 64; ++y) {
    for (const float value : image.row<float>(y)) {
      sum += static_cast<double>(value);
      square += static_cast<double>(value) * static_cast<double>(value);
    }
  }
  const double count = 96 * 64 * 3;
  const double mean = sum / count;
  const double deviation = std::sqrt(square / count - mean * mean);
  double information = 0;
  for (const double exposure : exposures) {
    information += exposure * exposure / test::signal_variance(0.02 * exposure, {});
  }
  CHECK(mean == Approx(0.02).epsilon(0.005));
  CHECK(20 * std::log10(deviation * std::sqrt(information)) < 0.5);
}

TEST_CASE("A merge is the same whatever the number of threads") {
  CAPTURE(seed());
  Random random(24);
  std::vector<Frame> frames;
  for (std::size_t i = 0; i < 3; ++i) {
    frames.push_back(test::photograph(kWidth, kHeight,
                                      room_with_ball(120 + 40 * static_cast<double>(i)),
                                      {.exposure = kExposures[i], .shift_v_px = 0.7}, random));
  }
  const auto merge_with = [&](int threads) {
    const ThreadLimit limit(threads);
    return merge_brackets(frames, kExposures);
  };
  const auto one = merge_with(1);
  const auto four = merge_with(4);
  REQUIRE(one);
  REQUIRE(four);
  CHECK(std::equal(one->frame.image.bytes().begin(), one->frame.image.bytes().end(),
                   four->frame.image.bytes().begin()));
}

TEST_CASE("What cannot be merged is refused in a clear line") {
  Random random(25);
  const auto dim = [](double, double, int) { return 0.1; };
  const auto glaring = [](double, double, int) { return 99.0; };
  const Frame good = test::photograph(32, 32, dim, {}, random);
  const Frame small = test::photograph(32, 31, dim, {}, random);
  const Frame white = test::photograph(32, 32, glaring, {}, random);
  Frame looking_alike = good;
  looking_alike.image.transfer = Transfer::srgb;
  const auto refusal = [](std::vector<Frame> frames, const std::vector<double>& exposures,
                          const MergeOptions& options = {}) {
    const auto merged = merge_brackets(std::move(frames), exposures, options);
    return merged ? std::string("was merged") : merged.error().line();
  };
  CHECK_THAT(refusal({good}, {1}), Catch::Contains("two frames or more"));
  CHECK_THAT(refusal({good, small}, {1, 2}), Catch::Contains("32 x 31 px"));
  CHECK_THAT(refusal({good, good}, {1, 0}), Catch::Contains("is not an exposure"));
  CHECK_THAT(refusal({white, white}, {1, 4}), Catch::Contains("100.0 % of the shortest exposure"));
  CHECK_THAT(refusal({good, looking_alike}, {1, 2}), Catch::Contains("colour profile"));
  CHECK_THAT(refusal({good, good}, {1, 2}, {.clip_level = 2}), Catch::Contains("clip_level"));
  CHECK(refusal({good, good}, {1, 1}) == "was merged");
}
