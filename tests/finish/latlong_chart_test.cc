// Two environment charts of OpenEXR (openexr-images: an orientation chart, and wavy lines over
// longitude ±π) become panoramas of ours, and those are cut into faces. Where a direction lies in
// the chart, and on which face of a cube, OpenEXR's own functions say (ImfEnvmap.h). A face that is
// turned, flipped or of another name shows another part of the chart.

#include <algorithm>
#include <cmath>
#include <map>
#include <string>
#include <vector>

#include <ImfArray.h>
#include <ImfEnvmap.h>
#include <ImfRgbaFile.h>
#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "compose/finish/cube.h"
#include "tests/finish/sphere_pictures.h"
#include "tests/support/shared_data.h"

namespace seamwright {
namespace {

namespace exr = OPENEXR_IMF_NAMESPACE;

// Ours has y down and x to the right of who looks along z.
Imath::V3f in_openexr(const Vec3& d) {
  return {static_cast<float>(-d.x()), static_cast<float>(-d.y()), static_cast<float>(d.z())};
}

// A chart by OpenEXR's simple interface.
class Chart {
 public:
  explicit Chart(const std::filesystem::path& file) {
    exr::RgbaInputFile in(file.string().c_str());
    window_ = in.dataWindow();
    REQUIRE(window_.min == Imath::V2i(0, 0));
    pixels_.resizeErase(height(), width());
    in.setFrameBuffer(&pixels_[0][0], 1, static_cast<std::size_t>(width()));
    in.readPixels(0, height() - 1);
  }

  [[nodiscard]] int width() const { return window_.max.x + 1; }
  [[nodiscard]] int height() const { return window_.max.y + 1; }
  [[nodiscard]] double at(int x, int y, int colour) const {
    const exr::Rgba& pixel = pixels_[y][x];
    return std::clamp<double>(colour == 0 ? pixel.r : (colour == 1 ? pixel.g : pixel.b), 0, 1);
  }
  /// Between pixels, the mean over a square, so that thin lines outlive a coarser raster.
  [[nodiscard]] double mean_around(const Vec3& direction, int colour) const {
    constexpr int kReach_px = 4;
    const Imath::V2f px = exr::LatLongMap::pixelPosition(window_, in_openexr(direction));
    const int x = static_cast<int>(std::lround(px.x));
    const int y = static_cast<int>(std::lround(px.y));
    double sum = 0;
    for (int dy = -kReach_px; dy <= kReach_px; dy += 2) {
      for (int dx = -kReach_px; dx <= kReach_px; dx += 2) {
        // The first and the last column are one and the same meridian.
        const int around = (x + dx + width() - 1) % (width() - 1);
        sum += at(around, std::clamp(y + dy, 0, height() - 1), colour);
      }
    }
    return sum / 25;
  }

 private:
  Imath::Box2i window_;
  exr::Array2D<exr::Rgba> pixels_;
};

// Largest share of the faces' pixels whose code is off by more than a twentieth.
double share_off(const Chart& chart, const test::Codes& codes) {
  const Image panorama = test::panorama_of(512, codes);
  int off = 0;
  int all = 0;
  for (const CubeFace& face : cube_faces(64)) {
    const Image picture = render_flat_view(WrappedPanorama(panorama), face.view);
    for (int y = 0; y < 64; y += 3) {
      for (int x = 0; x < 64; x += 3) {
        const Vec3 d = face.view.direction({x + 0.5, y + 0.5});
        const double code =
            picture.row<std::uint16_t>(y)[static_cast<std::size_t>(3 * x + 1)] / 65535.0;
        off += std::abs(code - chart.mean_around(d, 1)) > 0.05 ? 1 : 0;
        ++all;
      }
    }
  }
  REQUIRE(all == 6 * 22 * 22);
  return 1.0 * off / all;
}

TEST_CASE("faces of OpenEXR's charts show what OpenEXR has in their directions",
          "[finish][cube][outside_data]") {
  const auto folder = test::shared_data("latlong");
  if (!folder) return;
  for (const char* name : {"OrientationLatLong.exr", "WavyLinesLatLong.exr"}) {
    CAPTURE(name);
    const Chart chart(*folder / name);
    REQUIRE(chart.width() == 1024);
    REQUIRE(chart.height() == 512);
    const double right =
        share_off(chart, [&](const Vec3& d, int colour) { return chart.mean_around(d, colour); });
    // What a mirrored panorama would show: the chart tells them apart.
    const double mirrored = share_off(chart, [&](const Vec3& d, int colour) {
      return chart.mean_around({-d.x(), d.y(), d.z()}, colour);
    });
    WARN(fmt::format("{}: {:.2f} % of the pixels differ, {:.1f} % if mirrored", name, 100 * right,
                     100 * mirrored));
    CHECK(right < 0.03);
    CHECK(mirrored > 5 * right);
    CHECK(mirrored > 0.1);
  }
}

TEST_CASE("the first and the last column of OpenEXR's seam chart are one meridian",
          "[finish][outside_data]") {
  const auto folder = test::shared_data("latlong");
  if (!folder) return;
  const Chart chart(*folder / "WavyLinesLatLong.exr");
  double to_last = 0;
  double to_next = 0;
  for (int y = 0; y < chart.height(); ++y) {
    to_last += std::abs(chart.at(0, y, 1) - chart.at(chart.width() - 1, y, 1));
    to_next += std::abs(chart.at(0, y, 1) - chart.at(1, y, 1));
  }
  CAPTURE(to_last, to_next);
  CHECK(to_last < to_next);
}

TEST_CASE("our faces are OpenEXR's, by other names", "[finish][cube]") {
  const std::map<std::string, exr::CubeMapFace> theirs = {
      {"ahead", exr::CUBEFACE_POS_Z}, {"behind", exr::CUBEFACE_NEG_Z},
      {"left", exr::CUBEFACE_POS_X},  {"right", exr::CUBEFACE_NEG_X},
      {"above", exr::CUBEFACE_POS_Y}, {"below", exr::CUBEFACE_NEG_Y}};
  const Imath::Box2i window({0, 0}, {63, 6 * 64 - 1});
  int checked = 0;
  for (const CubeFace& face : cube_faces(64)) {
    CAPTURE(face.name);
    for (double v = 1; v < 64; v += 7) {
      for (double u = 1; u < 64; u += 7) {
        exr::CubeMapFace found = exr::CUBEFACE_POS_X;
        Imath::V2f at;
        exr::CubeMap::faceAndPixelPosition(in_openexr(face.view.direction({u, v})), window, found,
                                           at);
        CHECK(found == theirs.at(face.name));
        ++checked;
      }
    }
  }
  CHECK(checked == 6 * 9 * 9);
}

}  // namespace
}  // namespace seamwright
