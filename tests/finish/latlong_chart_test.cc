// Two environment charts of OpenEXR (openexr-images: an orientation chart, and wavy lines over
// longitude ±π) become panoramas of ours, and those are cut into faces. Where a direction lies in
// the chart, and on which face of a cube, OpenEXR's own functions say (ImfEnvmap.h). A face that is
// turned, flipped or of another name shows another part of the chart.

#include <algorithm>
#include <cmath>
#include <functional>
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
  [[nodiscard]] double green(int x, int y) const {
    return std::clamp<double>(pixels_[y][x].g, 0, 1);
  }
  /// Green around a direction, weighted by a tent, so that thin lines outlive a coarser raster.
  [[nodiscard]] double around(const Vec3& direction) const {
    constexpr int kReach_px = 8;
    const Imath::V2f px = exr::LatLongMap::pixelPosition(window_, in_openexr(direction));
    const int left = static_cast<int>(std::floor(px.x)) - kReach_px + 1;
    const int top = static_cast<int>(std::floor(px.y)) - kReach_px + 1;
    double sum = 0;
    double weights = 0;
    for (int y = top; y < top + 2 * kReach_px; ++y) {
      for (int x = left; x < left + 2 * kReach_px; ++x) {
        const double weight =
            (kReach_px - std::abs(x - double{px.x})) * (kReach_px - std::abs(y - double{px.y}));
        // The first and the last column are one and the same meridian.
        const int column = (x + width() - 1) % (width() - 1);
        sum += weight * green(column, std::clamp(y, 0, height() - 1));
        weights += weight;
      }
    }
    return sum / weights;
  }

 private:
  Imath::Box2i window_;
  exr::Array2D<exr::Rgba> pixels_;
};

using Green = std::function<double(const Vec3& direction)>;

// How far the faces of a panorama of ours are from the chart, RMS of green.
double off_chart(const Chart& chart, const Green& green) {
  const Image panorama = test::panorama_of(
      256, [&](const Vec3& d, int colour) { return colour == 1 ? green(d) : 0.5; });
  double squares = 0;
  int all = 0;
  for (const CubeFace& face : cube_faces(64)) {
    const Image picture = render_flat_view(WrappedPanorama(panorama), face.view);
    for (int y = 0; y < 64; y += 3) {
      for (int x = 0; x < 64; x += 3) {
        const double code =
            picture.row<std::uint16_t>(y)[static_cast<std::size_t>(3 * x + 1)] / 65535.0;
        squares += std::pow(code - chart.around(face.view.direction({x + 0.5, y + 0.5})), 2);
        ++all;
      }
    }
  }
  REQUIRE(all == 6 * 22 * 22);
  return std::sqrt(squares / all);
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
    const double right = off_chart(chart, [&](const Vec3& d) { return chart.around(d); });
    // What a mirrored panorama would show. Wavy lines look much alike in a mirror.
    const double mirrored = off_chart(chart, [&](const Vec3& d) {
      return chart.around({-d.x(), d.y(), d.z()});
    });
    WARN(fmt::format("{}: {:.4f} RMS from the chart, {:.3f} if mirrored", name, right, mirrored));
    CHECK(right < 0.01);
    CHECK(mirrored > (name[0] == 'O' ? 10 : 2) * right);
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
    to_last += std::abs(chart.green(0, y) - chart.green(chart.width() - 1, y));
    to_next += std::abs(chart.green(0, y) - chart.green(1, y));
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
