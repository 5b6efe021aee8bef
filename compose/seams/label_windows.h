#pragma once

// Which depth hypotheses are tried where.
//
// A match in a raster half as fine tells nearly everywhere which few of them are worth trying
// (after Rothermel et al. 2012, SURE: photogrammetric surface reconstruction from imagery: tSGM).

#include <cstddef>
#include <vector>

namespace seamwright {

/// Labels that are worked on together: 16 bits of each fill 256. Runs are multiples of it.
inline constexpr int kLabelsTogether = 16;

/// The labels first, first + 1, … first + count − 1.
struct LabelRun {
  int first = 0;
  int count = 0;

  [[nodiscard]] int end() const { return first + count; }
  [[nodiscard]] bool has(int label) const { return label >= first && label < end(); }
  [[nodiscard]] bool operator==(const LabelRun&) const = default;
};

/// One run of labels for every square tile of a raster, and the place of each pixel's labels in an
/// array that holds those of all pixels side by side, rows top to bottom.
class LabelWindows {
 public:
  static constexpr int kTile_px = 16;

  LabelWindows() = default;
  /// All labels everywhere: a multiple of kLabelsTogether (asserted, here and below).
  LabelWindows(int width_px, int height_px, int labels);
  /// One run for each tile, rows of tiles top to bottom.
  LabelWindows(int width_px, int height_px, int labels, std::vector<LabelRun> runs);

  [[nodiscard]] int labels() const { return labels_; }  ///< number of all labels
  [[nodiscard]] int tiles_across() const { return tiles_across_; }
  [[nodiscard]] int tiles_down() const { return tiles_down_; }
  [[nodiscard]] const LabelRun& of_tile(int tile_x, int tile_y) const {
    return tiles_[tile_index(tile_x, tile_y)].run;
  }
  [[nodiscard]] const LabelRun& at(int x, int y) const {
    return of_tile(x / kTile_px, y / kTile_px);
  }
  /// Where the first label of a pixel lies.
  [[nodiscard]] std::size_t index(int x, int y) const {
    const Tile& tile = tiles_[tile_index(x / kTile_px, y / kTile_px)];
    const auto right = static_cast<std::size_t>(x % kTile_px);
    return row_begin(y) + tile.before + right * static_cast<std::size_t>(tile.run.count);
  }
  /// Where a row of pixels begins; that of the row after the last is the size of all.
  [[nodiscard]] std::size_t row_begin(int y) const {
    return row_begin_[static_cast<std::size_t>(y)];
  }
  [[nodiscard]] std::size_t size() const { return row_begin_.back(); }

 private:
  struct Tile {
    LabelRun run;
    std::size_t before = 0;  // of a row's labels, in tiles to the left
  };

  [[nodiscard]] std::size_t tile_index(int tile_x, int tile_y) const {
    return static_cast<std::size_t>(tile_y) * static_cast<std::size_t>(tiles_across_) +
           static_cast<std::size_t>(tile_x);
  }

  int labels_ = 0;
  int tiles_across_ = 0;
  int tiles_down_ = 0;
  std::vector<Tile> tiles_;
  std::vector<std::size_t> row_begin_{0};
};

/// The shortest run that holds [least, most], out of `labels`.
[[nodiscard]] LabelRun run_around(int least, int most, int labels);

}  // namespace seamwright
