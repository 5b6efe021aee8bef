#include "compose/finish/patch_fill.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>

#include "compose/finish/patch_search.h"

namespace seamwright {

namespace {

constexpr std::uint64_t kSeed = 0x5EA3;
constexpr double kCoarsestHole_px = 20;   // radius at the coarsest scale, at most
constexpr float kSlowShare = 0.5F;        // of the slow part that is taken out before matching
constexpr double kSearchedHole_px = 160;  // finer scales only refine what is found

cv::Mat3f as_mat(const Image& picture) {
  cv::Mat3f out(picture.height(), picture.width());
  const int channels = picture.channel_count();
  for (int y = 0; y < out.rows; ++y) {
    const auto row = picture.row<float>(y);
    for (int x = 0; x < out.cols; ++x) {
      for (int c = 0; c < 3; ++c) {
        out(y, x)[c] = row[static_cast<std::size_t>(x * channels + std::min(c, channels - 1))];
      }
    }
  }
  return out;
}

cv::Mat3f half_size(const cv::Mat3f& picture, const cv::Mat1b& hole, cv::Mat1b& half_hole) {
  const cv::Size size((picture.cols + 1) / 2, (picture.rows + 1) / 2);
  cv::Mat1b outside;
  cv::compare(hole, 0, outside, cv::CMP_EQ);
  cv::Mat1f known;
  outside.convertTo(known, CV_32F, 1.0 / 255);
  cv::Mat3f weighted = picture.clone();
  weighted.setTo(cv::Scalar::all(0), hole);
  cv::Mat3f sum;
  cv::Mat1f weight;
  cv::resize(weighted, sum, size, 0, 0, cv::INTER_AREA);
  cv::resize(known, weight, size, 0, 0, cv::INTER_AREA);
  for (int y = 0; y < size.height; ++y) {
    for (int x = 0; x < size.width; ++x) {
      if (weight(y, x) > 0) sum(y, x) *= 1 / weight(y, x);
    }
  }
  cv::compare(weight, 0.5, half_hole, cv::CMP_LT);
  return sum;
}

// The hole filled smoothly: from each coarser scale where a finer one knows nothing.
cv::Mat3f pull_push(const cv::Mat3f& picture, const cv::Mat1b& hole) {
  if (cv::countNonZero(hole) == 0 || std::min(picture.cols, picture.rows) <= 2) return picture;
  cv::Mat1b half_hole;
  const cv::Mat3f half = half_size(picture, hole, half_hole);
  const cv::Mat3f coarse = pull_push(half, half_hole);
  cv::Mat3f up;
  cv::resize(coarse, up, picture.size(), 0, 0, cv::INTER_LINEAR);
  cv::Mat3f out = picture.clone();
  up.copyTo(out, hole);
  return out;
}

// Changes of light slower than the hole is wide.
cv::Mat3f slow_part(const cv::Mat3f& picture, const cv::Mat1b& hole, double hole_px) {
  const cv::Mat3f whole = pull_push(picture, hole);
  const double sigma = std::max(hole_px / 3, 2.0);
  const double shrink = std::max(sigma / 6, 1.0);
  cv::Mat3f small;
  cv::resize(whole, small, {}, 1 / shrink, 1 / shrink, cv::INTER_AREA);
  cv::GaussianBlur(small, small, {}, sigma / shrink, sigma / shrink, cv::BORDER_REPLICATE);
  cv::Mat3f out;
  cv::resize(small, out, picture.size(), 0, 0, cv::INTER_CUBIC);
  return out;
}

struct Scale {
  cv::Mat3f picture;
  cv::Mat1b hole;
};

std::vector<Scale> pyramid(const cv::Mat3f& picture, const cv::Mat1b& hole, double hole_px) {
  std::vector<Scale> scales = {{picture, hole}};
  while (hole_px > kCoarsestHole_px) {
    Scale next;
    next.picture = half_size(scales.back().picture, scales.back().hole, next.hole);
    if (std::min(next.hole.cols, next.hole.rows) < 8 * PatchScale::kRadius) break;
    if (cv::countNonZero(next.hole) == 0) break;
    scales.push_back(next);
    hole_px /= 2;
  }
  return scales;
}

// Fills the fine part, coarse to fine; empty when there is nothing to take from.
cv::Mat3f filled(const std::vector<Scale>& scales, double hole_px) {
  std::optional<PatchScale> coarser;
  for (std::size_t i = scales.size(); i-- > 0;) {
    cv::Mat3f picture = scales[i].picture.clone();
    // A first guess: the coarser scale's.
    picture.setTo(cv::Scalar::all(0), scales[i].hole);
    if (coarser) {
      cv::Mat3f up;
      cv::resize(coarser->picture(), up, picture.size(), 0, 0, cv::INTER_LINEAR);
      up.copyTo(picture, scales[i].hole);
    }
    const double here_px = hole_px / std::exp2(static_cast<double>(i));
    PatchScale scale(picture, scales[i].hole, here_px, kSeed + i);
    if (!scale.has_source()) return {};
    if (coarser) {
      scale.take_over(*coarser);
    } else {
      scale.peel();
    }
    const bool searched = here_px <= kSearchedHole_px;
    const int repeats = !coarser ? 6 : searched ? 4 : 1;
    for (int repeat = 0; repeat < repeats; ++repeat) {
      scale.search(searched ? 4 : 2, searched ? std::max(picture.cols, picture.rows) / 2 : 2);
      const bool last = i == 0 && repeat + 1 == repeats;
      scale.vote(last ? 8.0F : 2.0F);
    }
    coarser.emplace(std::move(scale));
  }
  return coarser->picture();
}

}  // namespace

Result<void> fill_hole(Image& picture, std::span<const std::uint8_t> hole) {
  const cv::Mat1b mask(picture.height(), picture.width(),
                       const_cast<std::uint8_t*>(hole.data()));  // only read
  cv::Mat1b wanted;
  cv::compare(mask, 0, wanted, cv::CMP_NE);
  const int count = cv::countNonZero(wanted);
  if (count == 0) return {};
  const auto nothing_left = [] {
    return fail({.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "cover",
                 .what = "the hole leaves too little around it to fill it from",
                 .remedy = "cover a smaller radius, or use a plate"});
  };
  if (count > 0.8 * static_cast<double>(wanted.total())) return nothing_left();
  const double hole_px = std::sqrt(count / CV_PI);  // of a circle as large

  const cv::Mat3f source = as_mat(picture);
  const cv::Mat3f slow = slow_part(source, wanted, hole_px);
  cv::Mat3f fine;
  cv::addWeighted(source, 1, slow, -kSlowShare, 0, fine);
  const cv::Mat3f made = filled(pyramid(fine, wanted, hole_px), hole_px);
  if (made.empty()) return nothing_left();
  const int channels = picture.channel_count();
  for (int y = 0; y < wanted.rows; ++y) {
    const auto row = picture.row<float>(y);
    for (int x = 0; x < wanted.cols; ++x) {
      if (wanted(y, x) == 0) continue;
      const cv::Vec3f value = kSlowShare * slow(y, x) + made(y, x);
      for (int c = 0; c < channels; ++c) {
        row[static_cast<std::size_t>(x * channels + c)] = std::max(value[c], 0.0F);
      }
    }
  }
  return {};
}

}  // namespace seamwright
