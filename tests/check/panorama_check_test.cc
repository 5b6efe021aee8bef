#include "jobs/check/panorama_check.h"

#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

#include "imaging/metadata.h"
#include "imaging/write_image.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;

namespace {

constexpr int kWidth = 256;
constexpr int kHeight = 128;

/// Waves that go round without a step; `drift` adds one at the border.
Image waves(double drift) {
  Image image(kWidth, kHeight, Channels::rgb, SampleType::u16);
  for (int y = 0; y < kHeight; ++y) {
    const auto row = image.row<std::uint16_t>(y);
    for (int x = 0; x < kWidth; ++x) {
      const double turn = 2 * 3.14159265358979 * x / kWidth;
      const double value = 0.4 + 0.1 * std::sin(5 * turn + 0.1 * y) + drift * x / kWidth;
      for (int c = 0; c < 3; ++c) {
        row[static_cast<std::size_t>(3 * x + c)] =
            static_cast<std::uint16_t>(65535 * std::clamp(value, 0.0, 1.0));
      }
    }
  }
  return image;
}

std::vector<FindingKind> kinds_of(const ShotFindings& found) {
  std::vector<FindingKind> kinds;
  for (const Finding& finding : found.findings) kinds.push_back(finding.kind);
  return kinds;
}

const std::string kXmp = gpano_xmp(PanoramaInfo::whole_sphere(kWidth, kHeight));

}  // namespace

TEST_CASE("a panorama by itself: border, clipping, shape, what it says it is", "[check]") {
  const test::ScratchDir dir;
  const auto check = [&](const Image& image, const std::string& xmp) {
    REQUIRE(write_image(dir / "p.tif", image, {.xmp = xmp}));
    const auto found = check_panorama(dir / "p.tif");
    REQUIRE(found);
    return kinds_of(*found);
  };
  using Kinds = std::vector<FindingKind>;
  CHECK(check(waves(0), kXmp).empty());
  CHECK(check(waves(0), "") == Kinds{FindingKind::wrong_shape});
  CHECK(check(waves(0.4), kXmp) == Kinds{FindingKind::open_border});
  Image white = waves(0);
  for (int y = 0; y < kHeight / 4; ++y) std::ranges::fill(white.row<std::uint16_t>(y), 65535);
  CHECK(check(white, kXmp) == Kinds{FindingKind::clipped});
  CHECK(check(Image(200, 150, Channels::rgb, SampleType::u16), "") ==
        Kinds{FindingKind::wrong_shape});
  CHECK_FALSE(check_panorama(dir / "nowhere.tif"));
}
