#include "apps/demo/film.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace seamwright::demo {
namespace {

constexpr int kSub = 2;        // rays per pixel and axis
constexpr int kReach_sub = 4;  // of blur and reconstruction, in half pixels

/// Light on the raster of half pixels, with a margin all around.
class SubRaster {
 public:
  SubRaster(const Camera& camera, int first_row, int last_row, int margin_px)
      : first_row_(kSub * (first_row - margin_px)),
        first_column_(-kSub * margin_px),
        width_(kSub * (camera.width_px() + 2 * margin_px)),
        height_(kSub * (last_row - first_row + 2 * margin_px)),
        light_(static_cast<std::size_t>(width_) * static_cast<std::size_t>(height_)) {}

  void trace(const Scene& scene, std::span<const Shape> stand, const Camera& camera);
  /// [1 2 1] / 4 along both axes.
  void blur();
  /// Light of a colour at a pixel position, by the cubic B-spline over half pixels; it keeps means
  /// and positions exactly wherever it is asked.
  [[nodiscard]] float sample(const Vec2& px, float Rgb::*colour) const;

 private:
  Rgb* row(int y) {
    return light_.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(width_);
  }
  [[nodiscard]] const Rgb* row(int y) const {
    return light_.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(width_);
  }

  int first_row_, first_column_;  ///< raster index of the first half pixel
  int width_, height_;
  std::vector<Rgb> light_;
};

void SubRaster::trace(const Scene& scene, std::span<const Shape> stand, const Camera& camera) {
  std::vector<CameraRay> rays(static_cast<std::size_t>(width_));
  const auto angle_rad = static_cast<float>(0.62 * camera.px_angle_rad());
  for (int y = 0; y < height_; ++y) {
    camera.cast({.v_px = (first_row_ + y + 0.5) / kSub,
                 .first_px = (first_column_ + 0.5) / kSub,
                 .step_px = 1.0 / kSub,
                 .half_jitter_px = 0.5 / kSub},
                rays);
    Rgb* out = row(y);
    for (int x = 0; x < width_; ++x) {
      const CameraRay& r = rays[static_cast<std::size_t>(x)];
      if (r.weight > 0) {
        const Rgb light =
            light_along(scene, stand, {r.ray, angle_rad, first_column_ + x, first_row_ + y});
        out[x] = light * r.weight;
      }
    }
  }
}

void SubRaster::blur() {
  std::vector<Rgb> line(static_cast<std::size_t>(std::max(width_, height_)));
  const auto smooth = [&](Rgb* first, int count, int stride) {
    for (int i = 0; i < count; ++i) {
      line[static_cast<std::size_t>(i)] = first[static_cast<std::ptrdiff_t>(i) * stride];
    }
    for (int i = 1; i + 1 < count; ++i) {
      const auto k = static_cast<std::size_t>(i);
      first[static_cast<std::ptrdiff_t>(i) * stride] =
          (line[k - 1] + line[k] * 2.0F + line[k + 1]) * 0.25F;
    }
  };
  for (int y = 0; y < height_; ++y) {
    smooth(row(y), width_, 1);
  }
  for (int x = 0; x < width_; ++x) {
    smooth(light_.data() + x, height_, width_);
  }
}

std::array<float, 4> spline_weights(float t) {
  const float s = 1.0F - t;
  const float t2 = t * t;
  const float t3 = t2 * t;
  return {s * s * s / 6.0F, (3.0F * t3 - 6.0F * t2 + 4.0F) / 6.0F,
          (-3.0F * t3 + 3.0F * t2 + 3.0F * t + 1.0F) / 6.0F, t3 / 6.0F};
}

float SubRaster::sample(const Vec2& px, float Rgb::*colour) const {
  const double x = kSub * px.x() - 0.5 - first_column_;
  const double y = kSub * px.y() - 0.5 - first_row_;
  const int left = static_cast<int>(std::floor(x));
  const int top = static_cast<int>(std::floor(y));
  const auto wx = spline_weights(static_cast<float>(x - left));
  const auto wy = spline_weights(static_cast<float>(y - top));
  float sum = 0;
  for (int j = 0; j < 4; ++j) {
    const Rgb* line = row(top - 1 + j) + (left - 1);
    const float across = wx[0] * line[0].*colour + wx[1] * line[1].*colour +
                         wx[2] * line[2].*colour + wx[3] * line[3].*colour;
    sum += wy[static_cast<std::size_t>(j)] * across;
  }
  return sum;
}

/// Beyond the rim there is no picture and a fringe polynomial is not asked.
constexpr double kLargestRadius = 1.05;

/// Largest radial move of a colour, px.
int fringe_reach_px(const Lens& lens) {
  double reach = 0;
  for (const FringeTerms& terms : {lens.red, lens.blue}) {
    for (double r_hat = 0.05; r_hat <= kLargestRadius; r_hat += 0.05) {
      reach = std::max(reach, r_hat * lens.rim_radius_px() * std::abs(terms.scale(r_hat) - 1.0));
    }
  }
  // In the dark corners the last scale goes on growing with the radius.
  return static_cast<int>(std::ceil(1.5 * reach));
}

}  // namespace

Vec2 green_position(const Lens& lens, const FringeTerms& colour, const Vec2& px) {
  const Vec2 from_centre = px - lens.centre_px();
  const double rim = lens.rim_radius_px();
  const double r = from_centre.norm();
  double scale = 1;
  // r_c = r_g · scale(r_g): the scale hardly changes with the radius, so this settles at once.
  for (int i = 0; i < 6; ++i) {
    scale = colour.scale(std::min(kLargestRadius, r / scale / rim));
  }
  return lens.centre_px() + from_centre / scale;
}

Band expose_band(const Scene& scene, std::span<const Shape> stand, const Camera& camera,
                 const Lens* fringes, int first_row, int last_row) {
  const int margin_px = kReach_sub / kSub + (fringes != nullptr ? fringe_reach_px(*fringes) : 0);
  SubRaster sub(camera, first_row, last_row, margin_px);
  sub.trace(scene, stand, camera);
  sub.blur();
  Band band{first_row, camera.width_px(), {}};
  band.pixels.reserve(static_cast<std::size_t>(band.width_px) *
                      static_cast<std::size_t>(last_row - first_row));
  for (int y = first_row; y < last_row; ++y) {
    for (int x = 0; x < band.width_px; ++x) {
      const Vec2 px(x + 0.5, y + 0.5);
      const Vec2 red = fringes != nullptr ? green_position(*fringes, fringes->red, px) : px;
      const Vec2 blue = fringes != nullptr ? green_position(*fringes, fringes->blue, px) : px;
      band.pixels.push_back(
          {sub.sample(red, &Rgb::x), sub.sample(px, &Rgb::y), sub.sample(blue, &Rgb::z)});
    }
  }
  return band;
}

}  // namespace seamwright::demo
