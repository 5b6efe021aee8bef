// Beside OpenCV's exposure fusion after Mertens, Kautz and Van Reeth (2007), with its own default
// weights: what our merge shown by its curves does with things that move and with bright windows.

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <vector>

#include <catch2/catch.hpp>
#include <opencv2/photo.hpp>

#include "imaging/convert.h"
#include "jobs/brackets/merge.h"
#include "jobs/brackets/tone.h"
#include "tests/brackets/room_with_ball.h"
#include "tests/support/random.h"

using namespace seamwright;
using test::Random;
using test::seed;

namespace {

constexpr int kFusedWidth = test::kRoomWidth_px;
constexpr int kFusedHeight = test::kRoomHeight_px;
const std::vector<double> kFusedExposures = {0.125, 1, 4};

/// A picture as a display shows it, codes 0…1, RGB.
using Shown = cv::Mat3f;

Shown fused(const std::vector<Frame>& frames) {
  std::vector<cv::Mat> bytes;
  for (const Frame& frame : frames) {
    Image image = to_type(frame.image, SampleType::u8);
    bytes.push_back(cv::Mat(image.height(), image.width(), CV_8UC3, image.bytes().data()).clone());
  }
  cv::Mat fusion;
  cv::createMergeMertens()->process(bytes, fusion);
  return fusion;
}

Shown merged(const std::vector<Frame>& frames, double local) {
  const auto light = merge_brackets(frames, kFusedExposures);
  REQUIRE(light);
  const Image* all[] = {&light->frame.image};
  const auto picture =
      for_display(light->frame.image, {.curve = choose_curve(all), .local = local});
  REQUIRE(picture);
  Shown shown(picture->height(), picture->width());
  for (int y = 0; y < shown.rows; ++y) {
    const auto row = picture->row<std::uint16_t>(y);
    for (int x = 0; x < shown.cols; ++x) {
      for (int c = 0; c < 3; ++c) {
        shown(y, x)[c] = static_cast<float>(row[static_cast<std::size_t>(3 * x + c)]) / 65535.0F;
      }
    }
  }
  return shown;
}

/// Three brackets of rooms, one each, as sRGB codes.
std::vector<Frame> photographs(const std::array<test::Radiance, 3>& rooms, Random& random) {
  std::vector<Frame> frames;
  for (std::size_t i = 0; i < 3; ++i) {
    frames.push_back(test::photograph(kFusedWidth, kFusedHeight, rooms[i],
                                      {.exposure = kFusedExposures[i], .linear = false}, random));
  }
  return frames;
}

/// RMS, in code values of 255, of what is in none of the pictures that the same way makes of a room
/// standing still: over the rows where the ball rolls, means of 5 × 5 px.
double ghost_codes(const Shown& moving, const std::array<Shown, 3>& still) {
  std::array<cv::Mat3f, 3> differences;
  for (std::size_t i = 0; i < 3; ++i) cv::blur(moving - still[i], differences[i], {5, 5});
  double sum = 0;
  int count = 0;
  for (int y = test::kBallTop_px; y < test::kBallBottom_px; ++y) {
    for (int x = 2; x < kFusedWidth - 2; ++x, ++count) {
      double least = std::numeric_limits<double>::infinity();
      for (const auto& difference : differences) {
        const cv::Vec3f& d = difference(y, x);
        least = std::min(least, static_cast<double>(d.dot(d)) / 3);
      }
      sum += least;
    }
  }
  return 255 * std::sqrt(sum / count);
}

constexpr double kFusedWindowRadius_px = 40;

/// An even wall with a round window.
double even_wall(double u, double v, int channel) {
  const bool inside =
      std::hypot(u - 0.5 * kFusedWidth, v - 0.5 * kFusedHeight) < kFusedWindowRadius_px;
  return (channel == 0 ? 0.8 : 1.0) * (inside ? 6.0 : 0.05);
}

/// How much brighter or darker the even wall is shown 5 px from the window than at the picture's
/// left and right border; largest share of any channel.
double halo(const Shown& shown) {
  std::array<cv::Vec3d, 2> sums{};
  std::array<int, 2> counts{};
  for (int y = 0; y < kFusedHeight; ++y) {
    for (int x = 0; x < kFusedWidth; ++x) {
      const double r = std::hypot(x + 0.5 - 0.5 * kFusedWidth, y + 0.5 - 0.5 * kFusedHeight);
      const bool near = std::abs(r - kFusedWindowRadius_px - 5) < 1;
      if (!near && x >= 16 && x < kFusedWidth - 16) continue;
      sums[near ? 0 : 1] += cv::Vec3d(shown(y, x));
      ++counts[near ? 0 : 1];
    }
  }
  double worst = 0;
  for (int c = 0; c < 3; ++c) {
    worst = std::max(worst, std::abs(sums[0][c] / counts[0] / (sums[1][c] / counts[1]) - 1));
  }
  return worst;
}

}  // namespace

TEST_CASE("Fusion shows three balls where the merge shows one") {
  CAPTURE(seed());
  Random random(31);
  std::array<test::Radiance, 3> rooms;
  for (std::size_t i = 0; i < 3; ++i) {
    rooms[i] = test::room_with_ball(120 + 70 * static_cast<double>(i));
  }
  const auto moving = photographs(rooms, random);
  std::array<Shown, 3> still_fused, still_merged;
  for (std::size_t i = 0; i < 3; ++i) {
    const auto still = photographs({rooms[i], rooms[i], rooms[i]}, random);
    still_fused[i] = fused(still);
    still_merged[i] = merged(still, 0);
  }
  const double by_fusion = ghost_codes(fused(moving), still_fused);
  const double ours = ghost_codes(merged(moving, 0), still_merged);
  WARN("ghosts, RMS in codes of 255: Mertens " << by_fusion << ", ours " << ours);
  CHECK(ours < 0.25 * by_fusion);
  CHECK(ours < 2);
}

TEST_CASE("Fusion shades the wall round a window, the curves do not") {
  CAPTURE(seed());
  Random random(32);
  const auto frames = photographs({even_wall, even_wall, even_wall}, random);
  const double by_fusion = halo(fused(frames));
  const double by_curve = halo(merged(frames, 0));
  const double locally = halo(merged(frames, 0.5));
  WARN("an even wall 5 px from a window against far from it: Mertens "
       << 100 * by_fusion << " %, ours " << 100 * by_curve << " %, with --local 0.5 "
       << 100 * locally << " %");
  CHECK(by_curve < 0.01);
  CHECK(locally < by_fusion);
}
