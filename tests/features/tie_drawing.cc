#include "tests/features/tie_drawing.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <stdexcept>

#include "features/pair_ties.h"
#include "imaging/viridis.h"
#include "imaging/write_image.h"
#include "sampling/strip.h"

namespace seamwright::test {

namespace {

using Colour = std::array<std::uint8_t, 3>;

void put(Image& picture, int x, int y, const Colour& colour) {
  if (x < 0 || y < 0 || x >= picture.width() || y >= picture.height()) return;
  std::copy(colour.begin(), colour.end(),
            picture.row<std::uint8_t>(y).begin() + static_cast<std::ptrdiff_t>(3 * x));
}

void line(Image& picture, const Vec2& from, const Vec2& to, const Colour& colour) {
  const int steps = static_cast<int>((to - from).norm()) + 1;
  for (int i = 0; i <= steps; ++i) {
    const Vec2 at = from + (to - from) * i / steps;
    put(picture, static_cast<int>(at.x()), static_cast<int>(at.y()), colour);
  }
}

void blob(Image& picture, const Vec2& at, const Colour& colour) {
  for (int dy = -2; dy <= 2; ++dy) {
    for (int dx = -2; dx <= 2; ++dx) {
      put(picture, static_cast<int>(at.x()) + dx, static_cast<int>(at.y()) + dy, colour);
    }
  }
}

void put_strip(const Strip& strip, int top, Image& picture) {
  for (int y = 0; y < strip.grid.height_px; ++y) {
    const auto raw = strip.raw.row<float>(y);
    for (int x = 0; x < strip.grid.width_px; ++x) {
      const auto grey =
          static_cast<std::uint8_t>(std::clamp(raw[static_cast<std::size_t>(x)], 0.0F, 1.0F) * 255);
      put(picture, x, top + y, {grey, grey, grey});
    }
  }
}

}  // namespace

Image draw_ties(std::span<const Image> frames, const Rig& rig, const TieSet& set, int lens_a,
                int lens_b, double full_px) {
  const auto grid = matching_grid(rig, lens_a, lens_b, 0);
  if (!grid) throw std::runtime_error("the lenses share nothing to draw");
  const auto view = [&](int lens) {
    const auto i = static_cast<std::size_t>(lens);
    return LensView(match_plane(frames[i]), rig.lenses[i]);
  };
  Image picture(grid->width_px, 2 * grid->height_px, Channels::rgb, SampleType::u8);
  put_strip(render_strip(view(lens_a), *grid), 0, picture);
  put_strip(render_strip(view(lens_b), *grid), grid->height_px, picture);
  for (std::size_t i = 0; i < set.ties.size(); ++i) {
    const TieDetail& detail = set.details[i];
    if (detail.lens_a != lens_a || detail.lens_b != lens_b) continue;
    const auto at_a = strip_position(*grid, rig.lenses[static_cast<std::size_t>(lens_a)],
                                     set.ties[i].sights[0].px);
    const auto at_b = strip_position(*grid, rig.lenses[static_cast<std::size_t>(lens_b)],
                                     set.ties[i].sights[1].px);
    if (!at_a || !at_b) continue;
    const Vec2 below = *at_b + Vec2(0, grid->height_px);
    const Colour colour = viridis(std::abs(detail.sideways_rad) * grid->px_per_rad / full_px);
    line(picture, *at_a, below, colour);
    blob(picture, *at_a, colour);
    blob(picture, below, colour);
  }
  return picture;
}

void put_picture(const Image& picture, const std::filesystem::path& scratch,
                 const std::string& name) {
  const char* folder = std::getenv("SEAMWRIGHT_TEST_PICTURES");
  const auto path = (folder != nullptr ? std::filesystem::path(folder) : scratch) / name;
  const auto written = write_image(path, picture);
  if (!written) throw std::runtime_error(written.error().line());
}

}  // namespace seamwright::test
