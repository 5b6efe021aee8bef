#include "compose/finish/shift_fill.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <opencv2/imgproc.hpp>

#include "compose/finish/hole_scales.h"
#include "compose/finish/shift_labels.h"

namespace seamwright {

namespace {

constexpr double kLabelledHole_px = 32;  // radius on the scale where labels are found, at most
constexpr double kTestedHole_px = 20;    // and where the filling is tested
constexpr float kCutMisfit = 0.2F;       // differences of colours count up to this
constexpr float kMostCorrected = 0.08F;  // of code values, at the border

struct HoleScale {
  cv::Mat3f picture;
  cv::Mat1b hole;
};

// Finest first.
std::vector<HoleScale> scales_of(const cv::Mat3f& picture, const cv::Mat1b& hole, double hole_px,
                                 double coarsest_px) {
  std::vector<HoleScale> scales = {{picture, hole}};
  for (; hole_px > coarsest_px; hole_px /= 2) {
    HoleScale next;
    next.picture = half_size(scales.back().picture, scales.back().hole, next.hole);
    scales.push_back(next);
  }
  return scales;
}

// Known places around the hole, some thousand of them.
std::vector<cv::Point> ring_of(const cv::Mat1b& hole, int width_px) {
  cv::Mat1b ring;
  cv::dilate(hole, ring, cv::Mat::ones(2 * width_px + 1, 2 * width_px + 1, CV_8U));
  ring.setTo(0, hole);
  std::vector<cv::Point> places;
  cv::findNonZero(ring, places);
  constexpr std::size_t kMost = 3000;
  const std::size_t step = 1 + places.size() / kMost;
  std::vector<cv::Point> some;
  for (std::size_t i = 0; i < places.size(); i += step) some.push_back(places[i]);
  return some;
}

float misfit_of(const HoleScale& scale, const std::vector<cv::Point>& ring, cv::Point offset) {
  float sum = 0;
  int count = 0;
  for (const cv::Point at : ring) {
    if (!is_known(scale.hole, at + offset)) continue;
    const auto apart = static_cast<float>(cv::norm(scale.picture(at) - scale.picture(at + offset)));
    sum += std::min(apart, kCutMisfit);
    ++count;
  }
  return count > 0 ? sum / static_cast<float>(count) : kCutMisfit;
}

// An offset of a scale half as fine, to the pixel of this one.
cv::Point refined(const HoleScale& scale, const std::vector<cv::Point>& ring, cv::Point coarse) {
  cv::Point best = 2 * coarse;
  float least = misfit_of(scale, ring, best);
  for (int dy = -1; dy <= 1; ++dy) {
    for (int dx = -1; dx <= 1; ++dx) {
      const cv::Point offset = 2 * coarse + cv::Point(dx, dy);
      const float misfit = misfit_of(scale, ring, offset);
      if (misfit >= least) continue;
      least = misfit;
      best = offset;
    }
  }
  return best;
}

// Offsets by pixel of the hole, and how wide their borders are mixed.
struct Shifts {
  std::vector<cv::Point> offsets;
  cv::Mat1i labels;
};

// The labels of a scale half as fine; −1 where none of those around reaches.
cv::Mat1i finer(const Shifts& coarse, const std::vector<cv::Point>& offsets,
                const cv::Mat1b& hole) {
  cv::Mat1i labels(hole.size(), -1);
  for (int y = 0; y < hole.rows; ++y) {
    for (int x = 0; x < hole.cols; ++x) {
      if (hole(y, x) == 0) continue;
      for (int ring = 0; ring <= 3 && labels(y, x) < 0; ++ring) {
        for (int dy = -ring; dy <= ring && labels(y, x) < 0; ++dy) {
          for (int dx = -ring; dx <= ring && labels(y, x) < 0; ++dx) {
            const int cx = std::clamp(x / 2 + dx, 0, coarse.labels.cols - 1);
            const int cy = std::clamp(y / 2 + dy, 0, coarse.labels.rows - 1);
            const int label = coarse.labels(cy, cx);
            if (label < 0) continue;
            const cv::Point offset = offsets[static_cast<std::size_t>(label)];
            if (is_known(hole, cv::Point(x, y) + offset)) labels(y, x) = label;
          }
        }
      }
    }
  }
  return labels;
}

Shifts finer(const Shifts& coarse, const HoleScale& scale) {
  const std::vector<cv::Point> ring = ring_of(scale.hole, 12);
  Shifts shifts;
  for (const cv::Point offset : coarse.offsets) {
    shifts.offsets.push_back(refined(scale, ring, offset));
  }
  shifts.labels = finer(coarse, shifts.offsets, scale.hole);
  return shifts;
}

// Each pixel as the labels around it show it.
cv::Mat3f moved_pieces(const HoleScale& scale, const Shifts& shifts, int mixed_px) {
  cv::Mat3f out = scale.picture.clone();
  const double sigma = 0.5 * mixed_px + 0.3;
  for (int y = 0; y < scale.hole.rows; ++y) {
    for (int x = 0; x < scale.hole.cols; ++x) {
      if (scale.hole(y, x) == 0) continue;
      cv::Vec3f sum(0, 0, 0);
      float weights = 0;
      for (int dy = -mixed_px; dy <= mixed_px; ++dy) {
        for (int dx = -mixed_px; dx <= mixed_px; ++dx) {
          const cv::Point beside(x + dx, y + dy);
          if (!cv::Rect({}, scale.hole.size()).contains(beside)) continue;
          const int label = shifts.labels(beside);
          if (label < 0) continue;
          const cv::Point from = cv::Point(x, y) + shifts.offsets[static_cast<std::size_t>(label)];
          if (!is_known(scale.hole, from)) continue;
          const auto weight =
              static_cast<float>(std::exp(-(dx * dx + dy * dy) / (2 * sigma * sigma)));
          sum += weight * scale.picture(from);
          weights += weight;
        }
      }
      out(y, x) = weights > 0 ? sum * (1 / weights) : cv::Vec3f(0, 0, 0);
    }
  }
  return out;
}

// How what is known beside the hole differs from what the nearest label would show there, on a
// scale of a quarter, continued smoothly over the hole.
cv::Mat3f border_correction(const HoleScale& scale, const Shifts& shifts) {
  cv::Mat3f differences(scale.hole.size(), cv::Vec3f(0, 0, 0));
  cv::Mat1b unknown(scale.hole.size(), 255);
  constexpr int kBeside_px = 3;
  for (int y = 0; y < scale.hole.rows; ++y) {
    for (int x = 0; x < scale.hole.cols; ++x) {
      const int label = shifts.labels(y, x);
      if (label < 0) continue;
      const cv::Point offset = shifts.offsets[static_cast<std::size_t>(label)];
      for (int dy = -kBeside_px; dy <= kBeside_px; ++dy) {
        for (int dx = -kBeside_px; dx <= kBeside_px; ++dx) {
          const cv::Point at(x + dx, y + dy);
          if (!is_known(scale.hole, at) || !is_known(scale.hole, at + offset)) continue;
          differences(at) = scale.picture(at) - scale.picture(at + offset);
          unknown(at) = 0;
        }
      }
    }
  }
  cv::Mat1b half_unknown, quarter_unknown;
  const cv::Mat3f half = half_size(differences, unknown, half_unknown);
  const cv::Mat3f quarter = half_size(half, half_unknown, quarter_unknown);
  cv::Mat3f smooth = pull_push(quarter, quarter_unknown);
  cv::GaussianBlur(smooth, smooth, {}, 2, 2, cv::BORDER_REPLICATE);
  cv::Mat3f correction;
  cv::resize(smooth, correction, scale.hole.size(), 0, 0, cv::INTER_LINEAR);
  return correction;
}

void correct(const cv::Mat3f& correction, const cv::Mat1b& hole, cv::Mat3f& filled) {
  for (int y = 0; y < hole.rows; ++y) {
    for (int x = 0; x < hole.cols; ++x) {
      if (hole(y, x) == 0) continue;
      for (int c = 0; c < 3; ++c) {
        filled(y, x)[c] += std::clamp(correction(y, x)[c], -kMostCorrected, kMostCorrected);
      }
    }
  }
}

// Where no label reached, what is around it goes on smoothly.
void close_gaps(const cv::Mat1b& hole, const cv::Mat1i& labels, cv::Mat3f& filled) {
  cv::Mat1b gaps(hole.size(), 0);
  for (int y = 0; y < hole.rows; ++y) {
    for (int x = 0; x < hole.cols; ++x) {
      if (hole(y, x) != 0 && labels(y, x) < 0) gaps(y, x) = 255;
    }
  }
  if (cv::countNonZero(gaps) > 0) filled = pull_push(filled, gaps);
}

// dB of a filling where `hole` is moved by `step`; empty where it does not lie within the picture.
std::optional<double> filled_at_db(const HoleScale& scale, cv::Point step, double hole_px) {
  const cv::Mat move = (cv::Mat_<double>(2, 3) << 1, 0, step.x, 0, 1, step.y);
  cv::Mat1b moved;
  cv::warpAffine(scale.hole, moved, move, scale.hole.size(), cv::INTER_NEAREST);
  if (cv::countNonZero(moved) < 0.9 * cv::countNonZero(scale.hole)) return std::nullopt;
  moved.setTo(0, scale.hole);
  cv::Mat1b both;
  cv::bitwise_or(moved, scale.hole, both);
  const auto filled = fill_by_shifts(scale.picture, both, hole_px);
  if (!filled) return std::nullopt;
  const double apart = cv::norm(*filled, scale.picture, cv::NORM_L2SQR, moved);
  return -10 * std::log10(std::max(apart / (3.0 * cv::countNonZero(moved)), 1e-9));
}

}  // namespace

std::vector<double> filled_beside_db(const cv::Mat3f& picture, const cv::Mat1b& hole,
                                     double hole_px) {
  const HoleScale scale = scales_of(picture, hole, hole_px, kTestedHole_px).back();
  while (hole_px > kTestedHole_px) hole_px /= 2;
  const int step = static_cast<int>(std::ceil(2.05 * hole_px));
  std::vector<double> found;
  for (const cv::Point way : {cv::Point(1, 0), {0, 1}, {-1, 0}, {0, -1}}) {
    if (const auto db = filled_at_db(scale, way * step, hole_px)) found.push_back(*db);
  }
  std::sort(found.begin(), found.end());
  return found;
}

std::optional<cv::Mat3f> fill_by_shifts(const cv::Mat3f& picture, const cv::Mat1b& hole,
                                        double hole_px) {
  const std::vector<HoleScale> scales = scales_of(picture, hole, hole_px, kLabelledHole_px);
  const HoleScale& small = scales.back();
  const double small_px = hole_px / std::exp2(static_cast<double>(scales.size() - 1));
  Shifts shifts{.offsets = common_offsets(small.picture, small.hole, small_px), .labels = {}};
  shifts.labels = offset_labels(small.picture, small.hole, shifts.offsets, small_px);
  double most = -1;
  cv::minMaxLoc(shifts.labels, nullptr, &most);
  if (most < 0) return std::nullopt;
  for (std::size_t i = scales.size() - 1; i-- > 0;) shifts = finer(shifts, scales[i]);
  const int mixed_px = std::min(1 << (scales.size() - 1), 4);
  cv::Mat3f filled = moved_pieces(scales.front(), shifts, mixed_px);
  close_gaps(hole, shifts.labels, filled);
  correct(border_correction(scales.front(), shifts), hole, filled);
  return filled;
}

}  // namespace seamwright
