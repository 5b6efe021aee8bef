#include "features/strip_keys.h"

#include <algorithm>
#include <cstddef>
#include <map>
#include <tuple>

#include "features/sift_picture.h"

namespace seamwright {

namespace {

constexpr int kCell_px = 64;  // of the even retention

// At most max_keys, taken in turns from the cells of a grid, the strongest of each first.
std::vector<cv::KeyPoint> thinned(std::vector<cv::KeyPoint> keys, int max_keys) {
  if (keys.size() <= static_cast<std::size_t>(max_keys)) return keys;
  std::map<std::tuple<int, int>, std::vector<std::size_t>> cells;
  for (std::size_t i = 0; i < keys.size(); ++i) {
    cells[{static_cast<int>(keys[i].pt.y) / kCell_px, static_cast<int>(keys[i].pt.x) / kCell_px}]
        .push_back(i);
  }
  std::vector<std::tuple<std::size_t, float, std::size_t>> ranked;  // rank, −response, key
  for (auto& [cell, members] : cells) {
    std::stable_sort(members.begin(), members.end(), [&](std::size_t a, std::size_t b) {
      return keys[a].response > keys[b].response;
    });
    for (std::size_t rank = 0; rank < members.size(); ++rank) {
      ranked.emplace_back(rank, -keys[members[rank]].response, members[rank]);
    }
  }
  std::sort(ranked.begin(), ranked.end());
  ranked.resize(static_cast<std::size_t>(max_keys));
  std::vector<std::size_t> kept;
  for (const auto& entry : ranked) kept.push_back(std::get<2>(entry));
  std::sort(kept.begin(), kept.end());
  std::vector<cv::KeyPoint> chosen;
  for (const std::size_t i : kept) chosen.push_back(keys[i]);
  return chosen;
}

}  // namespace

std::vector<StripKey> find_keys(const Strip& strip, int pad_px, const KeyOptions& options) {
  const SiftPicture picture(strip, options.contrast);
  std::vector<cv::KeyPoint> keys = picture.detect(options.largest_px);
  const auto x_of = [&](const cv::KeyPoint& key) { return key.pt.x + 0.5 - pad_px; };
  std::erase_if(keys, [&](const cv::KeyPoint& key) {
    return x_of(key) < 0 || x_of(key) >= strip.grid.width_px - 2 * pad_px;
  });
  keys = thinned(std::move(keys), options.max_keys);
  const std::vector<Descriptor> descriptors = picture.describe(keys);
  std::vector<StripKey> found(keys.size());
  for (std::size_t i = 0; i < keys.size(); ++i) {
    found[i].at = Vec2(x_of(keys[i]), keys[i].pt.y + 0.5);
    found[i].size_px = keys[i].size;
    found[i].response = keys[i].response;
    found[i].descriptor = descriptors[i];
  }
  return found;
}

}  // namespace seamwright
