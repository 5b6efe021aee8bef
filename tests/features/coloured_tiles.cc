#include "tests/features/coloured_tiles.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "base/parallel.h"
#include "imaging/transfer.h"
#include "tests/support/random.h"

namespace seamwright::test {

namespace {

constexpr int kSamples = 16;  // of a pixel, no two in one row or column

struct Tile {
  std::array<double, 3> light{}, other{};  // two colours, parted by a line
  Vec2 normal = Vec2::UnitX();
  double offset = 0;
};

Tile tile_at(int column, int row, const TileOptions& options, std::uint64_t stream) {
  Random random(stream * 1000003 + static_cast<std::uint64_t>(row * 4099 + column));
  Tile tile;
  const double turn = random.uniform(0, 2 * kPi);
  tile.normal = {std::cos(turn), std::sin(turn)};
  tile.offset = random.uniform(-0.25, 0.25);
  const double grey = random.uniform(0.05, 0.6);
  const double grey_other = random.uniform(0.05, 0.6);
  const double chroma = options.coloured ? 0.3 : 0;
  for (std::size_t c = 0; c < 3; ++c) {
    tile.light[c] = grey * (1 + random.uniform(-chroma, chroma));
    tile.other[c] = grey_other * (1 + random.uniform(-chroma, chroma));
  }
  // A window: its border lies elsewhere in every colour once it is clipped.
  if (options.windows && random.chance(0.06)) tile.light = {2.5, 6, 12};
  return tile;
}

// Reaches a few tiles beyond the frame.
class Wall {
 public:
  Wall(const TileOptions& options, std::uint64_t stream)
      : tile_px_(options.tile_px),
        side_(static_cast<int>(options.side_px / options.tile_px) + 2 * kBorder) {
    for (int i = 0; i < side_ * side_; ++i)
      tiles_.push_back(tile_at(i % side_, i / side_, options, stream));
  }

  [[nodiscard]] double light_at(const Vec2& px, std::size_t colour) const {
    const Vec2 at = px / tile_px_ + Vec2(kBorder, kBorder);
    const Vec2 corner(std::floor(at.x()), std::floor(at.y()));
    const Tile& tile =
        tiles_[static_cast<std::size_t>(corner.y()) * static_cast<std::size_t>(side_) +
               static_cast<std::size_t>(corner.x())];
    const Vec2 inside = at - corner - Vec2(0.5, 0.5);
    return inside.dot(tile.normal) > tile.offset ? tile.light[colour] : tile.other[colour];
  }

 private:
  static constexpr int kBorder = 2;
  double tile_px_;
  int side_;
  std::vector<Tile> tiles_;
};

// Where green shows what the colour with these terms shows at `px`.
Vec2 green_px(const Lens& lens, const FringeTerms& terms, const Vec2& px) {
  const Vec2 offset = px - lens.centre_px();
  double scale = 1;
  for (int i = 0; i < 8; ++i) {
    scale = terms.scale(std::min(1.05, offset.norm() / scale / lens.rim_radius_px()));
  }
  return lens.centre_px() + offset / scale;
}

}  // namespace

Lens tile_lens(const TileOptions& options) {
  Lens lens;
  lens.width_px = lens.height_px = options.side_px;
  lens.terms[kCentreU] = 0.507 * options.side_px;
  lens.terms[kCentreV] = 0.495 * options.side_px;
  lens.terms[kFocal] = 0.485 * options.side_px / lens.theta_max_rad;
  return lens;
}

Image tile_frame(const Lens& lens, const TileOptions& options) {
  Image frame(options.side_px, options.side_px, Channels::rgb, SampleType::u16);
  const std::array<FringeTerms, 3> terms = {lens.red, FringeTerms{}, lens.blue};
  const double rim_px = lens.rim_radius_px();
  const Wall wall(options, options.stream);
  // Finer, grey, over it: the grain that most surfaces have.
  TileOptions fine = options;
  fine.tile_px = 0.4 * options.tile_px;
  fine.coloured = fine.windows = false;
  const Wall grain(fine, options.stream + 1);
  parallel_for(0, options.side_px, [&](int y) {
    Random random(options.stream * 7919 + static_cast<std::uint64_t>(y));
    const auto row = frame.row<std::uint16_t>(y);
    for (int x = 0; x < options.side_px; ++x) {
      const double r_px = (Vec2(x + 0.5, y + 0.5) - lens.centre_px()).norm();
      for (std::size_t c = 0; c < 3; ++c) {
        double sum = random.normal(options.noise);
        for (int k = 0; k < kSamples && r_px < rim_px; ++k) {
          // Twice a pixel wide: a little optical blur.
          const Vec2 px(x + 0.5 + 2 * ((k + 0.5) / kSamples - 0.5),
                        y + 0.5 + 2 * ((7 * k % kSamples + 0.5) / kSamples - 0.5));
          const Vec2 green = green_px(lens, terms[c], px);
          sum += wall.light_at(green, c) * (0.6 + grain.light_at(green, c)) / kSamples;
        }
        const double code = linear_to_srgb(std::clamp(sum, 0.0, 1.0));
        row[static_cast<std::size_t>(3 * x) + c] =
            static_cast<std::uint16_t>(std::lround(code * 65535));
      }
    }
  });
  return frame;
}

}  // namespace seamwright::test
