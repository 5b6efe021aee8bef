#pragma once

// A frame of coloured tiles with known lateral colour, for measuring it.

#include <cstdint>

#include "imaging/image.h"
#include "projection/lens.h"

namespace seamwright::test {

struct TileOptions {
  int side_px = 600;
  double tile_px = 28;
  double noise = 0.003;  ///< σ of linear light
  bool windows = true;   ///< tiles far above white, a different share of each colour
  bool coloured = true;  ///< false: grey tiles
  std::uint64_t stream = 1;
};

/// Centre off the middle, rim 3 % inside the frame, equidistant; no fringes.
[[nodiscard]] Lens tile_lens(const TileOptions& options);

/// Tiles of random colours and directions, 16-bit sRGB, as a lens with the fringes of `lens` shows
/// them: red and blue are the green picture scaled about the principal point.
[[nodiscard]] Image tile_frame(const Lens& lens, const TileOptions& options);

}  // namespace seamwright::test
