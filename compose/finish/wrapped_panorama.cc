#include "compose/finish/wrapped_panorama.h"

#include <cstring>

#include <fmt/format.h>

namespace seamwright {

namespace {

// Row y of the panorama, which may lie over a pole, and how far its columns are turned.
struct SourceRow {
  int y;
  int turned_px;
};

SourceRow source_row(int y, int width, int height) {
  if (y < 0) return {-1 - y, width / 2};
  if (y >= height) return {2 * height - 1 - y, width / 2};
  return {y, 0};
}

}  // namespace

WrappedPanorama::WrappedPanorama(const Image& panorama)
    : raster_{panorama.width(), panorama.height()},
      bordered_(panorama.width() + 2 * kBorder_px, panorama.height() + 2 * kBorder_px,
                panorama.channels(), panorama.type()) {
  bordered_.take_meaning_of(panorama);
  const int width = panorama.width();
  const std::size_t pixel = panorama.row_bytes() / static_cast<std::size_t>(width);
  for (int row = 0; row < bordered_.height(); ++row) {
    const SourceRow source = source_row(row - kBorder_px, width, panorama.height());
    const std::byte* from =
        panorama.bytes().data() + static_cast<std::size_t>(source.y) * panorama.row_bytes();
    std::byte* to =
        bordered_.bytes().data() + static_cast<std::size_t>(row) * bordered_.row_bytes();
    // Runs of columns up to the next wrap.
    for (int column = 0; column < bordered_.width();) {
      const int x = (column - kBorder_px + source.turned_px + width) % width;
      const int run = std::min(width - x, bordered_.width() - column);
      std::memcpy(to + static_cast<std::size_t>(column) * pixel,
                  from + static_cast<std::size_t>(x) * pixel,
                  static_cast<std::size_t>(run) * pixel);
      column += run;
    }
  }
}

std::optional<Error> check_whole_sphere(const Image& panorama) {
  if (panorama.width() >= 64 && panorama.width() == 2 * panorama.height()) return std::nullopt;
  return Error{.where = {},
               .field = {},
               .what = fmt::format("{} x {} px is no whole sphere, which is twice as wide as high",
                                   panorama.width(), panorama.height()),
               .remedy = "give the uncropped equirectangular panorama"};
}

}  // namespace seamwright
