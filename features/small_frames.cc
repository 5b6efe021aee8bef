#include "features/small_frames.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include "base/parallel.h"
#include "imaging/resize.h"
#include "sampling/lens_view.h"

namespace seamwright {

namespace {

// The source places that one output place covers, and their shares.
struct Cover {
  int first = 0;
  std::vector<float> share;
};

std::vector<Cover> covers_of(int from, int to, double step) {
  std::vector<Cover> covers;
  for (int i = 0; i < to; ++i) {
    const double begin = i * step;
    const double end = std::min((i + 1) * step, static_cast<double>(from));
    Cover cover{.first = static_cast<int>(begin), .share = {}};
    for (int at = cover.first; at < end; ++at) {
      const double part = std::min(end, at + 1.0) - std::max(begin, static_cast<double>(at));
      cover.share.push_back(static_cast<float>(part / (end - begin)));
    }
    covers.push_back(std::move(cover));
  }
  return covers;
}

}  // namespace

Image small_match_plane(const Image& frame, int width_px) {
  Image plane = match_plane(frame);
  if (2 * frame.width() < width_px) {
    const int height_px = frame.height() * width_px / frame.width();
    return resized(plane, width_px, height_px, Borders::repeat);
  }
  if (2 * frame.width() < 3 * width_px) return plane;
  const double step = static_cast<double>(frame.width()) / width_px;
  const int height_px = static_cast<int>(std::lround(frame.height() / step));
  Image small(width_px, height_px, Channels::grey, SampleType::f32);
  const std::vector<Cover> across = covers_of(frame.width(), width_px, step);
  const std::vector<Cover> down = covers_of(frame.height(), height_px, step);
  parallel_for(0, height_px, [&](int y) {
    const Cover& rows = down[static_cast<std::size_t>(y)];
    std::vector<float> line(static_cast<std::size_t>(frame.width()), 0.0F);
    for (std::size_t r = 0; r < rows.share.size(); ++r) {
      const auto row = plane.row<float>(rows.first + static_cast<int>(r));
      for (std::size_t x = 0; x < line.size(); ++x) line[x] += rows.share[r] * row[x];
    }
    const auto to = small.row<float>(y);
    for (std::size_t x = 0; x < to.size(); ++x) {
      float sum = 0;
      const auto first = static_cast<std::size_t>(across[x].first);
      for (std::size_t c = 0; c < across[x].share.size(); ++c) {
        sum += across[x].share[c] * line[first + c];
      }
      to[x] = sum;
    }
  });
  return small;
}

}  // namespace seamwright
