#include "compose/seams/label_windows.h"

#include <algorithm>
#include <cassert>
#include <utility>

namespace seamwright {

namespace {

int tiles_in(int length_px) {
  return (length_px + LabelWindows::kTile_px - 1) / LabelWindows::kTile_px;
}

std::size_t tile_count(int width_px, int height_px) {
  return static_cast<std::size_t>(tiles_in(width_px)) *
         static_cast<std::size_t>(tiles_in(height_px));
}

}  // namespace

LabelWindows::LabelWindows(int width_px, int height_px, int labels)
    : LabelWindows(width_px, height_px, labels,
                   std::vector<LabelRun>(tile_count(width_px, height_px), {0, labels})) {}

LabelWindows::LabelWindows(int width_px, int height_px, int labels, std::vector<LabelRun> runs)
    : labels_(labels), tiles_across_(tiles_in(width_px)), tiles_down_(tiles_in(height_px)) {
  assert(runs.size() == tile_count(width_px, height_px));
  tiles_.reserve(runs.size());
  for (int y = 0; y < tiles_down_; ++y) {
    std::size_t length = 0;
    for (int x = 0; x < tiles_across_; ++x) {
      const LabelRun& run = runs[tile_index(x, y)];
      assert(run.first >= 0 && run.end() <= labels);
      assert(run.count > 0 && run.count % kLabelsTogether == 0);
      tiles_.push_back({run, length});
      const int columns = std::min(kTile_px, width_px - x * kTile_px);
      length += static_cast<std::size_t>(columns) * static_cast<std::size_t>(run.count);
    }
    const int rows = std::min(kTile_px, height_px - y * kTile_px);
    for (int i = 0; i < rows; ++i) row_begin_.push_back(row_begin_.back() + length);
  }
}

LabelRun run_around(int least, int most, int labels) {
  const int wanted = most - least + 1;
  const int count = (wanted + kLabelsTogether - 1) / kLabelsTogether * kLabelsTogether;
  return {std::clamp(least - (count - wanted) / 2, 0, labels - count), count};
}

}  // namespace seamwright
