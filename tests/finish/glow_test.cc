#include "compose/finish/glow.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <vector>

#include <catch2/catch.hpp>

#include "base/parallel.h"
#include "imaging/delta_e2000.h"
#include "imaging/transfer.h"
#include "tests/finish/sphere_pictures.h"
#include "tests/imaging/pictures.h"
#include "tests/support/random.h"

namespace seamwright {
namespace {

using Light = std::array<double, 3>;

// Sigmas, in pixels, of what a lens does to an edge in red, green and blue.
constexpr Light kSharp = {0.7, 0.7, 0.7};
constexpr Light kGlowing = {1.1, 0.7, 1.5};

constexpr int kWidth = 2048;
constexpr double kReach_px = 3;
constexpr double kSlope = 0.2;  // of edges: slanted, so that all phases of a pixel occur

double edge(double distance_px, double sigma_px) {
  return 0.5 * std::erfc(-distance_px / (std::sqrt(2.0) * sigma_px));
}

// Distance to the right of a slanted edge through (x0, 512).
double right_of(int x, int y, double x0) {
  return (x - x0 - kSlope * (y - 512)) / std::hypot(1, kSlope);
}

// Rows about the horizon, where pixels are square; the rest is grey.
constexpr int kTop = 492;
constexpr int kBottom = 532;

using LightAt = std::function<Light(int x, int y)>;

Image shown(const LightAt& light_at, double noise = 0) {
  test::Random random(2);
  Image image(kWidth, kWidth / 2, Channels::rgb, SampleType::u16);
  for (int y = 0; y < image.height(); ++y) {
    const auto row = image.row<std::uint16_t>(y);
    for (int x = 0; x < kWidth; ++x) {
      const double inside = edge(y + 0.5 - (kTop - 8), 0.7) * edge(kBottom + 8 - y - 0.5, 0.7);
      Light light = inside > 1e-6 ? light_at(x, y) : Light{};
      for (double& colour : light) colour = 0.2 + inside * (colour - 0.2);
      for (std::size_t c = 0; c < 3; ++c) {
        const double code =
            linear_to_srgb(std::clamp(light[c], 0.0, 1.0)) + (noise > 0 ? random.normal(noise) : 0);
        row[static_cast<std::size_t>(x) * 3 + c] =
            static_cast<std::uint16_t>(std::lround(65535 * std::clamp(code, 0.0, 1.0)));
      }
    }
  }
  return image;
}

Lab lab_at(const Image& image, int x, int y) {
  Light light{};
  for (std::size_t c = 0; c < 3; ++c) {
    light[c] =
        srgb_to_linear(image.row<std::uint16_t>(y)[static_cast<std::size_t>(x) * 3 + c] / 65535.0);
  }
  return lab_from_linear_srgb(light);
}

struct Differences {
  double mean = 0;
  double worst = 0;
  int count = 0;
};

Differences differences(const Image& a, const Image& b,
                        const std::function<bool(int x, int y)>& counts, int more_rows = 0) {
  Differences all;
  for (int y = kTop - more_rows; y < kBottom + more_rows; ++y) {
    for (int x = 0; x < kWidth; ++x) {
      if (!counts(x, y)) continue;
      const double here = delta_e2000(lab_at(a, x, y), lab_at(b, x, y));
      all.mean += here;
      all.worst = std::max(all.worst, here);
      ++all.count;
    }
  }
  all.mean /= std::max(all.count, 1);
  return all;
}

struct TwoSides {
  const char* what;
  Light dark, bright;
  double most_left;  // of the difference
};
const TwoSides kEdges[] = {
    {"frame before a white window", {0.05, 0.05, 0.05}, {1.6, 1.6, 1.6}, 0.2},
    {"wood before a white window", {0.10, 0.06, 0.03}, {1.6, 1.6, 1.6}, 0.2},
    // How blue the sky is beyond white is not in the picture.
    {"wall before a blue sky", {0.15, 0.14, 0.12}, {1.0, 1.15, 1.5}, 0.4},
    {"leaf before the sky", {0.03, 0.06, 0.02}, {1.2, 1.2, 1.2}, 0.2},
    {"slate before paper", {0.06, 0.06, 0.07}, {0.8, 0.8, 0.75}, 0.2},
};

LightAt slanted(const TwoSides& sides, const Light& sigmas_px) {
  return [&sides, sigmas_px](int x, int y) {
    Light light{};
    for (std::size_t c = 0; c < 3; ++c) {
      light[c] = sides.dark[c] + (sides.bright[c] - sides.dark[c]) *
                                     edge(right_of(x, y, 1000), sigmas_px[c]) * edge(1400 - x, 0.7);
    }
    return light;
  };
}

TEST_CASE("glow goes from slanted edges, by the colours that they have without it",
          "[finish][glow]") {
  for (const TwoSides& sides : kEdges) {
    CAPTURE(sides.what);
    const Image sharp = shown(slanted(sides, kSharp));
    const Image glowing = shown(slanted(sides, kGlowing));
    Image cured = glowing;
    const auto removal = remove_glow(cured, 1);
    REQUIRE(removal);
    // On the dark side and in the transition.
    const auto near = [](int x, int y) {
      const double d = right_of(x, y, 1000);
      return d > -4 && d < 0.5;
    };
    const Differences before = differences(glowing, sharp, near);
    const Differences after = differences(cured, sharp, near);
    CAPTURE(before.mean, before.worst, after.mean, after.worst, removal->changed_px);
    REQUIRE(before.count > 100);
    CHECK(before.mean > 4);
    CHECK(after.mean < sides.most_left * before.mean);
    // Away from edges nothing changes.
    const auto far = [](int x, int y) {
      const double d = right_of(x, y, 1000);
      return x < 1300 && (d < -kReach_px - 3 || d > kReach_px + 1);
    };
    CHECK(differences(cured, glowing, far).worst == 0);
    // Half of the strength, about half of the way.
    Image halfway = glowing;
    REQUIRE(remove_glow(halfway, 0.5));
    const Differences half = differences(halfway, sharp, near);
    CHECK(half.mean < before.mean);
    CHECK(half.mean > after.mean);
  }
}

// Blues and purples, light and dark, pale and strong, and greys among them.
std::vector<Light> purples() {
  std::vector<Light> all;
  for (const double value : {0.04, 0.15, 0.5, 0.9}) {
    for (const double paleness : {0.1, 0.4, 0.8}) {
      for (const double red : {0.1, 0.5, 1.0}) {
        all.push_back({value * std::max(red, paleness), value * paleness, value});
      }
    }
  }
  return all;
}

// Patches of `patch_px` with white strips between them, as sharp as a lens makes them.
LightAt chart(double patch_px, double white_px) {
  return [patches = purples(), patch_px, white_px](int x, int y) {
    const double pitch = patch_px + white_px;
    const double along = right_of(x, y, 100) * std::hypot(1, kSlope);
    const int nearest = static_cast<int>(std::lround(along / pitch));
    Light light = {1, 1, 1};
    for (int i = nearest - 1; i <= nearest + 1; ++i) {
      if (i < 0 || i * pitch > kWidth - 300) continue;
      const Light& patch = patches[static_cast<std::size_t>(i) % patches.size()];
      const double from_middle = along - i * pitch;
      const double inside =
          edge(from_middle + patch_px / 2, 0.7) - edge(from_middle - patch_px / 2, 0.7);
      for (std::size_t c = 0; c < 3; ++c) light[c] += inside * (patch[c] - 1);
    }
    return light;
  };
}

TEST_CASE("what is truly blue or purple beside white keeps its colour", "[finish][glow]") {
  const auto all = [](int x, int) { return x > 120 && x < kWidth - 320; };
  for (const double patch_px : {1.5, 4.0, 8.0, 24.0}) {
    const Image truth = shown(chart(patch_px, 12));
    Image treated = truth;
    const auto removal = remove_glow(treated, 1);
    REQUIRE(removal);
    const Differences changed = differences(truth, treated, all);
    CAPTURE(patch_px, changed.mean, changed.worst, removal->changed_px);
    REQUIRE(changed.count > 10000);
    CHECK(changed.worst < 1);
    // Of their ends on grey, a few pixels of the narrow ones may lose it.
    const Differences ends = differences(truth, treated, all, 16);
    CAPTURE(ends.mean, ends.worst);
    CHECK(ends.mean < 0.1);
  }
  CAPTURE(test::seed());
  const Image noisy = shown(chart(8, 12), 0.004);
  Image treated = noisy;
  REQUIRE(remove_glow(treated, 1));
  const Differences changed = differences(noisy, treated, all);
  CAPTURE(changed.mean, changed.worst);
  CHECK(changed.mean < 0.1);
}

TEST_CASE("glow is found around the wrap, in every type, with any number of threads",
          "[finish][glow]") {
  const TwoSides& sides = kEdges[0];
  const LightAt at = slanted(sides, kGlowing);
  // The edge on the first columns: its dark side is on the last ones.
  const Image glowing = shown([&](int x, int y) { return at((x + 1000) % kWidth, y); });
  const Image whole = shown(at);
  Image turned = glowing;
  Image straight = whole;
  const auto around = remove_glow(turned, 1);
  const auto plain = remove_glow(straight, 1);
  REQUIRE(around);
  REQUIRE(plain);
  CHECK(around->changed_px == plain->changed_px);
  CHECK(around->changed_px > 100);
  Image again = glowing;
  const ThreadLimit one(1);
  const auto alone = remove_glow(again, 1);
  REQUIRE(alone);
  CHECK(test::same_picture(turned, again));
  CHECK(test::same_picture(around->mask, alone->mask));
}

TEST_CASE("nothing is done to the glow unless it is asked for", "[finish][glow]") {
  const Image glowing = shown(slanted(kEdges[0], kGlowing));
  Image same = glowing;
  const auto removal = remove_glow(same, 0);
  REQUIRE(removal);
  CHECK(removal->changed_px == 0);
  CHECK(test::same_picture(same, glowing));
  for (const double strength : {-0.1, 1.1, std::nan("")}) {
    const auto refused = remove_glow(same, strength);
    REQUIRE_FALSE(refused);
    CHECK(refused.error().field == "glow_removal");
  }
  CHECK(test::same_picture(same, glowing));
  Image grey(128, 64, Channels::grey, SampleType::u8);
  CHECK(remove_glow(grey, 1)->changed_px == 0);
}

}  // namespace
}  // namespace seamwright
