#include "compose/finish/patch_fill.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>

#include "compose/finish/hole_scales.h"
#include "compose/finish/patch_search.h"
#include "compose/finish/shift_fill.h"

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

tl::unexpected<Error> nothing_left() {
  return fail({.kind = ErrorKind::user_input,
               .where = {},
               .field = "cover",
               .what = "the hole leaves too little around it to fill it from",
               .remedy = "cover a smaller radius, or use a plate"});
}

/// What a filling works on.
struct FillingTask {
  cv::Mat1b hole;
  int count = 0;
  double hole_px = 0;  // radius of a circle as large
  cv::Mat3f slow = {};
  cv::Mat3f fine = {};
};

FillingTask task_of(const Image& picture, std::span<const std::uint8_t> hole) {
  const cv::Mat1b mask(picture.height(), picture.width(),
                       const_cast<std::uint8_t*>(hole.data()));  // only read
  FillingTask task;
  cv::compare(mask, 0, task.hole, cv::CMP_NE);
  task.count = cv::countNonZero(task.hole);
  task.hole_px = std::sqrt(task.count / CV_PI);
  const cv::Mat3f source = as_mat(picture);
  task.slow = slow_part(source, task.hole, task.hole_px);
  cv::addWeighted(source, 1, task.slow, -kSlowShare, 0, task.fine);
  return task;
}

cv::Mat3f made_by(FillingKind kind, const FillingTask& task) {
  return kind == FillingKind::shifts
             ? fill_by_shifts(task.fine, task.hole, task.hole_px).value_or(cv::Mat3f())
             : filled(pyramid(task.fine, task.hole, task.hole_px), task.hole_px);
}

void put_filling(const FillingTask& task, const cv::Mat3f& made, Image& picture) {
  const int channels = picture.channel_count();
  for (int y = 0; y < made.rows; ++y) {
    const auto row = picture.row<float>(y);
    for (int x = 0; x < made.cols; ++x) {
      if (task.hole(y, x) == 0) continue;
      const cv::Vec3f value = kSlowShare * task.slow(y, x) + made(y, x);
      for (int c = 0; c < channels; ++c) {
        row[static_cast<std::size_t>(x * channels + c)] = std::max(value[c], 0.0F);
      }
    }
  }
}

Result<Filling> fill_by_first(Image& picture, std::span<const std::uint8_t> hole,
                              std::span<const FillingKind> kinds) {
  const FillingTask task = task_of(picture, hole);
  if (task.count == 0) return Filling{};
  if (task.count > 0.8 * static_cast<double>(task.hole.total())) return nothing_left();
  for (const FillingKind kind : kinds) {
    const cv::Mat3f made = made_by(kind, task);
    if (made.empty()) continue;
    put_filling(task, made, picture);
    return Filling{.kind = kind, .beside_db = filled_beside_db(task.fine, task.hole, task.hole_px)};
  }
  return nothing_left();
}

}  // namespace

std::optional<double> Filling::expected_db() const {
  if (beside_db.empty()) return std::nullopt;
  return beside_db[(beside_db.size() - 1) / 2];
}

Result<Filling> fill_hole(Image& picture, std::span<const std::uint8_t> hole) {
  constexpr FillingKind kOrder[] = {FillingKind::shifts, FillingKind::patches};
  return fill_by_first(picture, hole, kOrder);
}

Result<Filling> fill_hole(Image& picture, std::span<const std::uint8_t> hole, FillingKind kind) {
  return fill_by_first(picture, hole, std::span(&kind, 1));
}

}  // namespace seamwright
