#include "features/strip_keys.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <map>
#include <tuple>

#include <opencv2/features2d.hpp>
#include <opencv2/imgproc.hpp>

#include "base/parallel.h"

namespace seamwright {

namespace {

constexpr float kGreyPerDeviation = 40;  // ±3.2 deviations fill eight bits
constexpr int kCell_px = 64;             // of the even retention

cv::Mat eight_bit(const Strip& strip) {
  cv::Mat grey(strip.grid.height_px, strip.grid.width_px, CV_8U);
  parallel_for(0, grey.rows, [&](int y) {
    const auto from = strip.normalised.row<float>(y);
    auto* to = grey.ptr<std::uint8_t>(y);
    for (int x = 0; x < grey.cols; ++x) {
      to[x] = cv::saturate_cast<std::uint8_t>(128 + kGreyPerDeviation *
                                                        from[static_cast<std::size_t>(x)]);
    }
  });
  return grey;
}

// Distance of every pixel to the nearest one that is not valid.
cv::Mat clearance(const Strip& strip) {
  cv::Mat valid(strip.grid.height_px, strip.grid.width_px, CV_8U);
  for (int y = 0; y < valid.rows; ++y) {
    const auto from = strip.valid.row<std::uint8_t>(y);
    std::copy(from.begin(), from.end(), valid.ptr<std::uint8_t>(y));
  }
  cv::Mat distance;
  cv::distanceTransform(valid, distance, cv::DIST_L2, cv::DIST_MASK_3);
  return distance;
}

auto place(const cv::KeyPoint& key) { return std::tuple(key.pt.y, key.pt.x, key.size); }

// Upright, inside, small, one a place, in a fixed order.
std::vector<cv::KeyPoint> tidied(std::vector<cv::KeyPoint> keys, const Strip& strip, int pad_px,
                                 const KeyOptions& options) {
  const cv::Mat clear = clearance(strip);
  const auto unwanted = [&](const cv::KeyPoint& key) {
    const double x = key.pt.x + 0.5 - pad_px;
    if (x < 0 || x >= strip.grid.width_px - 2 * pad_px || key.size > options.largest_px)
      return true;
    const int row = std::clamp(static_cast<int>(key.pt.y + 0.5F), 0, clear.rows - 1);
    const int column = std::clamp(static_cast<int>(key.pt.x + 0.5F), 0, clear.cols - 1);
    return clear.at<float>(row, column) < key.size + 3;
  };
  std::erase_if(keys, unwanted);
  for (cv::KeyPoint& key : keys) key.angle = 0;
  std::sort(keys.begin(), keys.end(), [](const cv::KeyPoint& a, const cv::KeyPoint& b) {
    return std::tuple(place(a), -a.response, a.octave) <
           std::tuple(place(b), -b.response, b.octave);
  });
  const auto same = [](const cv::KeyPoint& a, const cv::KeyPoint& b) {
    return place(a) == place(b);
  };
  keys.erase(std::unique(keys.begin(), keys.end(), same), keys.end());
  return keys;
}

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

void set_descriptor(const float* row, StripKey& key) {
  float sum = 0;
  for (std::size_t i = 0; i < 128; ++i) sum += row[i];
  const float scale = sum > 0 ? 1 / sum : 0;
  for (std::size_t i = 0; i < 128; ++i) {
    // The largest root of a share that occurs is about 0.3: use the range.
    key.descriptor[i] = cv::saturate_cast<std::uint8_t>(std::sqrt(row[i] * scale) * 512.0F);
  }
}

}  // namespace

std::vector<StripKey> find_keys(const Strip& strip, int pad_px, const KeyOptions& options) {
  const cv::Mat grey = eight_bit(strip);
  const auto sift = cv::SIFT::create(0, 3, options.contrast, 10, 1.6);
  std::vector<cv::KeyPoint> keys;
  sift->detect(grey, keys);
  keys = thinned(tidied(std::move(keys), strip, pad_px, options), options.max_keys);
  cv::Mat descriptors;
  sift->compute(grey, keys, descriptors);
  std::vector<StripKey> found(keys.size());
  for (std::size_t i = 0; i < keys.size(); ++i) {
    found[i].at = Vec2(keys[i].pt.x + 0.5 - pad_px, keys[i].pt.y + 0.5);
    found[i].size_px = keys[i].size;
    found[i].response = keys[i].response;
    set_descriptor(descriptors.ptr<float>(static_cast<int>(i)), found[i]);
  }
  return found;
}

}  // namespace seamwright
