#include <cmath>

#include <catch2/catch.hpp>

#include "compose/render/render.h"
#include "sampling/lens_map.h"
#include "tests/render/sphere_scene.h"
#include "tests/support/random.h"

using namespace seamwright;
using seamwright::test::Random;

namespace {

double sinc(double x) { return x == 0 ? 1.0 : std::sin(kPi * x) / (kPi * x); }

// Lanczos 1988 with three lobes; Keys 1981 with a = -1/2. From the formulas, in doubles.
double weight(ResampleKernel kernel, double x) {
  x = std::abs(x);
  if (kernel == ResampleKernel::lanczos3) return x >= 3 ? 0 : sinc(x) * sinc(x / 3);
  if (x >= 2) return 0;
  return x < 1 ? (1.5 * x - 2.5) * x * x + 1 : ((-0.5 * x + 2.5) * x - 4) * x + 2;
}

// One colour's code value at a continuous pixel, held within the range of its samples.
double reference_code(const Image& image, ResampleKernel kernel, const Vec2& px, int colour) {
  const int reach = kernel == ResampleKernel::lanczos3 ? 3 : 2;
  const double x = px.x() - 0.5;
  const double y = px.y() - 0.5;
  double sum = 0;
  double weights = 0;
  double low = 1e9;
  double high = 0;
  for (int j = static_cast<int>(std::floor(y)) - reach + 1; j <= std::floor(y) + reach; ++j) {
    for (int i = static_cast<int>(std::floor(x)) - reach + 1; i <= std::floor(x) + reach; ++i) {
      const int row = std::clamp(j, 0, image.height() - 1);
      const int column = std::clamp(i, 0, image.width() - 1);
      const double value = image.row<std::uint16_t>(
          row)[static_cast<std::size_t>(column * image.channel_count() + colour)];
      const double share = weight(kernel, x - i) * weight(kernel, y - j);
      sum += share * value;
      weights += share;
      low = std::min(low, value);
      high = std::max(high, value);
    }
  }
  return std::clamp(sum / weights, low, high) / 65535;
}

// What a lens alone shows of a direction: exact geometry, exact curves, one rounding.
double reference_pixel(const MountedLens& mounted, const Image& image, ResampleKernel kernel,
                       const Vec3& direction, int colour) {
  const Lens& lens = mounted.lens;
  const auto green = mounted.project_direction(direction);
  if (!green) FAIL("outside the lens' field");
  const Vec2 offset = *green - lens.centre_px();
  const double r_hat = offset.norm() / lens.rim_radius_px();
  const FringeTerms fringe = colour == 0 ? lens.red : colour == 2 ? lens.blue : FringeTerms{};
  const Vec2 px = lens.centre_px() + fringe.scale(r_hat) * offset;
  const double light =
      srgb_to_linear(reference_code(image, kernel, px, colour)) / lens.vignetting.gain(r_hat);
  return std::round(65535 * std::clamp(linear_to_srgb(light), 0.0, 1.0));
}

void add_noise(Random& random, Frame& frame, double sigma) {
  for (int y = 0; y < frame.image.height(); ++y) {
    for (auto& sample : frame.image.row<std::uint16_t>(y)) {
      sample = static_cast<std::uint16_t>(
          std::clamp(sample + random.normal(65535 * sigma), 0.0, 65535.0));
    }
  }
}

}  // namespace

TEST_CASE("Rendered pixels are those of a double-precision reference") {
  CAPTURE(test::seed());
  Random random(51);
  Rig rig = test::small_body(52, 640);
  for (MountedLens& mounted : rig.lenses) {
    // Fringes and vignetting of published lenses (up to 0.14 % of the radius).
    mounted.lens.red = {0.0006, 0.0005, -0.0002};
    mounted.lens.blue = {-0.0004, 0.0008, 0.0003};
    mounted.lens.vignetting = {-0.15, -0.05, 0};
  }
  auto frames = test::shoot(rig, test::wavy_scene(45));
  for (Frame& frame : frames) add_noise(random, frame, 0.002);
  const Equirect raster{1280, 640};
  const LensMap map(rig.lenses[0]);
  for (const auto kernel : {ResampleKernel::lanczos3, ResampleKernel::catmull_rom}) {
    const auto panorama = render_panorama(
        rig, frames, {.width_px = raster.width, .kernel = kernel, .gain_match = false});
    REQUIRE(panorama);
    double square = 0;
    double worst = 0;
    int compared = 0;
    for (int y = 1; y < raster.height; y += 7) {
      for (int x = 2; x < raster.width; x += 5) {
        const Vec3 direction = raster.direction({x + 0.5, y + 0.5});
        if (map.margin_rad(direction) < rad_from_deg(20)) continue;
        for (int c = 0; c < 3; ++c) {
          const double is =
              panorama->image.row<std::uint16_t>(y)[static_cast<std::size_t>(3 * x + c)];
          const double off =
              is - reference_pixel(rig.lenses[0], frames[0].image, kernel, direction, c);
          square += off * off;
          worst = std::max(worst, std::abs(off));
          ++compared;
        }
      }
    }
    const double rms = std::sqrt(square / compared);
    const double psnr_db = 20 * std::log10(65535 / rms);
    WARN("rms " << rms << " of 65535, worst " << worst << ", PSNR " << psnr_db << " dB, "
                << compared << " samples");
    CHECK(compared > 15000);
    CHECK(rms <= 4);
    CHECK(psnr_db >= 80);
  }
}
