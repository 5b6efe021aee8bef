// The matcher of depth seams beside OpenCV's cv::StereoSGBM, on a pair of pictures whose true
// disparities are known (run by hand):
//
//   study_disparities LEFT RIGHT TRUTH
//
// TRUTH: disparities of the left picture in whole px, 0 where they are not known. The pair must be
// rectified. "Aloe" of Middlebury's 2006 set (Hirschmüller, Scharstein 2007, Evaluation of cost
// functions for stereo matching, CVPR) is one; Debian's opencv-doc has it.
//
// Ours works on ribbons of fisheyes. A plane picture of a pinhole is such a lens, too: r = f tan θ
// is the polynomial of projection/lens.h with the series of the tangent, exact to 1e-5 px within
// 13° of the axis. Two of them side by side are a rig like any other, and `ribbon_depth` is called
// as `stitch` calls it, but for the nearest distance, and for memory that holds the whole raster.
// The focal length and the baseline are those that the set's page states for full size (3740 px,
// 0.16 m; from memory): they set the angles and the unit, not the disparities.
//
// Both are told the same range of disparities. SGBM has the settings of OpenCV's own sample
// stereo_match.cpp (4.6), and the right to look beyond the left border of the picture. Counted are
// pixels that are known and seen by both cameras, but for the four outermost rows and columns,
// which our resampling of frames leaves out. The end is 1 where ours is worse than it was found to
// be: the limits stand with `is_as_found`.

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <utility>
#include <vector>

#include <opencv2/calib3d.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "compose/seams/ribbon_depth.h"

namespace {

using namespace seamwright;

constexpr double kFocal_px = 3740;
constexpr double kBaseline_m = 0.16;
constexpr float kNoAnswer = -1;

struct Pair {
  cv::Mat left;
  cv::Mat right;
  cv::Mat truth;  // float, 0: not known
  double focal_px = kFocal_px;
  int range_px = 16;  // disparities that may occur: a multiple of 16, as SGBM wants it
};

void give_up(const std::string& why) {
  std::fprintf(stderr, "study_disparities: %s\n", why.c_str());
  std::exit(1);
}

cv::Mat picture_of(const char* file, int how) {
  cv::Mat picture = cv::imread(file, how);
  if (picture.empty()) give_up(std::string("cannot read ") + file);
  return picture;
}

Pair full_size(char** files) {
  Pair pair;
  pair.left = picture_of(files[0], cv::IMREAD_COLOR);
  pair.right = picture_of(files[1], cv::IMREAD_COLOR);
  picture_of(files[2], cv::IMREAD_GRAYSCALE).convertTo(pair.truth, CV_32F);
  if (pair.left.size() != pair.right.size() || pair.left.size() != pair.truth.size()) {
    give_up("the three pictures differ in size");
  }
  double most = 0;
  cv::minMaxLoc(pair.truth, nullptr, &most);
  pair.range_px = 16 * (static_cast<int>(most) / 16 + 1);
  return pair;
}

// Half as wide and high; of four true disparities the upper left one is kept.
Pair half_size(const Pair& full) {
  Pair half;
  const cv::Size size(full.left.cols / 2, full.left.rows / 2);
  cv::resize(full.left, half.left, size, 0, 0, cv::INTER_AREA);
  cv::resize(full.right, half.right, size, 0, 0, cv::INTER_AREA);
  cv::resize(full.truth, half.truth, size, 0, 0, cv::INTER_NEAREST);
  half.truth *= 0.5;
  half.focal_px = full.focal_px / 2;
  half.range_px = 16 * ((full.range_px / 2 + 15) / 16);
  return half;
}

// --- ours ----------------------------------------------------------------------------------------

MountedLens pinhole(const Pair& pair, double x_m) {
  MountedLens mounted;
  Lens& lens = mounted.lens;
  lens.width_px = pair.left.cols;
  lens.height_px = pair.left.rows;
  lens.terms[kFocal] = pair.focal_px;
  lens.terms[kCentreU] = 0.5 * lens.width_px;
  lens.terms[kCentreV] = 0.5 * lens.height_px;
  lens.terms[kRadial1] = 1.0 / 3;
  lens.terms[kRadial2] = 2.0 / 15;
  lens.terms[kRadial3] = 17.0 / 315;
  lens.terms[kRadial4] = 62.0 / 2835;
  const double corner_px = std::hypot(0.5 * lens.width_px, 0.5 * lens.height_px);
  lens.theta_max_rad = 1.01 * std::atan(corner_px / pair.focal_px);
  mounted.pupil = Vec3(x_m, 0, 0);
  return mounted;
}

Image frame_of(const cv::Mat& bgr) {
  Image frame(bgr.cols, bgr.rows, Channels::rgb, SampleType::u8);
  for (int y = 0; y < bgr.rows; ++y) {
    const auto row = frame.row<std::uint8_t>(y);
    for (int x = 0; x < bgr.cols; ++x) {
      const auto& pixel = bgr.at<cv::Vec3b>(y, x);
      for (int c = 0; c < 3; ++c) row[static_cast<std::size_t>(3 * x + c)] = pixel[2 - c];
    }
  }
  return frame;
}

// All that a picture shows, as fine as its finest place.
RibbonGrid grid_over(const Rig& rig) {
  const MountedLens& left = rig.lenses[0];
  const Lens& lens = left.lens;
  RibbonGrid grid{.axes = RibbonAxes(rig.baseline(0, 1), Vec3::UnitZ())};
  grid.px_per_rad = lens.peak_px_per_rad();
  double psi_end = -kPi, eta_end = 0;
  grid.psi_begin_rad = grid.eta_begin_rad = kPi;
  for (int x = 0; x <= lens.width_px; ++x) {
    for (int y = 0; y <= lens.height_px; y += x % lens.width_px == 0 ? 1 : lens.height_px) {
      const RibbonAngles at = grid.axes.angles(left.direction_in_rig(Vec2(x, y)).value());
      grid.psi_begin_rad = std::min(grid.psi_begin_rad, at.psi_rad);
      grid.eta_begin_rad = std::min(grid.eta_begin_rad, at.eta_rad);
      psi_end = std::max(psi_end, at.psi_rad);
      eta_end = std::max(eta_end, at.eta_rad);
    }
  }
  grid.width_px = static_cast<int>(std::ceil((psi_end - grid.psi_begin_rad) * grid.px_per_rad));
  grid.height_px = static_cast<int>(std::ceil((eta_end - grid.eta_begin_rad) * grid.px_per_rad));
  return grid;
}

// Where the right pinhole sees what the left one sees in (x, y) at an inverse distance from the
// middle between them: by plane geometry, not by the project's own.
double disparity_px(const Pair& pair, double x_px, double y_px, double inverse_m) {
  if (inverse_m <= 0) return 0;
  const Vec3 ray =
      Vec3(x_px - 0.5 * pair.left.cols, y_px - 0.5 * pair.left.rows, pair.focal_px).normalized();
  const Vec3 left_m(-0.5 * kBaseline_m, 0, 0);
  const double along = left_m.dot(ray);
  const double reach =
      std::sqrt(along * along - left_m.squaredNorm() + 1 / (inverse_m * inverse_m)) - along;
  return pair.focal_px * kBaseline_m / (reach * ray.z());
}

struct Answers {
  std::string name;
  cv::Mat disparity;  // float; kNoAnswer where there is none
};

// As matched, and with its gaps filled, as seams use it.
std::vector<Answers> ours(const Pair& pair) {
  Rig rig;
  rig.lenses = {pinhole(pair, -0.5 * kBaseline_m), pinhole(pair, 0.5 * kBaseline_m)};
  const std::vector<Image> frames = {frame_of(pair.left), frame_of(pair.right)};
  const auto views = views_of(frames, rig);
  if (!views) give_up(views.error().line());
  const RibbonDepthOptions options{.nearest_m = pair.focal_px * kBaseline_m / pair.range_px,
                                   .most_cells = 2e9};
  const auto found = ribbon_depth((*views)[0], (*views)[1], grid_over(rig), true, options);
  if (!found) give_up(found.error().line());
  const cv::Size size = pair.left.size();
  cv::Mat matched(size, CV_32F, cv::Scalar(kNoAnswer));
  cv::Mat filled(size, CV_32F, cv::Scalar(kNoAnswer));
  for (int y = 0; y < size.height; ++y) {
    for (int x = 0; x < size.width; ++x) {
      const Vec2 px(x + 0.5, y + 0.5);
      const Vec2 at = found->grid.position(rig.lenses[0].direction_in_rig(px).value());
      const int row = std::clamp(static_cast<int>(at.y()), 0, found->grid.height_px - 1);
      const auto i = static_cast<std::size_t>(
          std::clamp(static_cast<int>(at.x()), 0, found->grid.width_px - 1));
      const float inverse = found->of_a.inverse_m.row<float>(row)[i];
      const auto visibility =
          static_cast<Visibility>(found->of_a.visibility.row<std::uint8_t>(row)[i]);
      const auto disparity = static_cast<float>(disparity_px(pair, px.x(), px.y(), inverse));
      if (visibility != Visibility::none) filled.at<float>(y, x) = disparity;
      if (visibility == Visibility::both) matched.at<float>(y, x) = disparity;
    }
  }
  return {{"ours, matched", matched}, {"ours, gaps filled", filled}};
}

// --- OpenCV's ------------------------------------------------------------------------------------

// A gap takes the farther of what lies left and right of it.
cv::Mat filled_along_rows(const cv::Mat& disparity) {
  cv::Mat filled = disparity.clone();
  for (int y = 0; y < filled.rows; ++y) {
    float* row = filled.ptr<float>(y);
    for (int begin = 0; begin < filled.cols; ++begin) {
      if (row[begin] != kNoAnswer) continue;
      int end = begin;
      while (end < filled.cols && row[end] == kNoAnswer) ++end;
      const float before = begin > 0 ? row[begin - 1] : kNoAnswer;
      const float after = end < filled.cols ? row[end] : kNoAnswer;
      const float farther =
          before == kNoAnswer ? after : (after == kNoAnswer ? before : std::min(before, after));
      std::fill(row + begin, row + end, farther);
      begin = end;
    }
  }
  return filled;
}

cv::Mat sgbm(const Pair& pair, const cv::Mat& left, const cv::Mat& right, int mode) {
  constexpr int kWindow_px = 3;
  const int channels = left.channels();
  const auto matcher =
      cv::StereoSGBM::create(0, pair.range_px, kWindow_px, 8 * channels * kWindow_px * kWindow_px,
                             32 * channels * kWindow_px * kWindow_px, 1, 63, 10, 100, 32, mode);
  // Without a border it has no answer in the first columns, as many as there are disparities.
  const auto widened = [&](const cv::Mat& picture) {
    cv::Mat wide;
    cv::copyMakeBorder(picture, wide, 0, 0, pair.range_px, 0, cv::BORDER_REPLICATE);
    return wide;
  };
  cv::Mat sixteenths;
  matcher->compute(widened(left), widened(right), sixteenths);
  cv::Mat disparity;
  sixteenths.colRange(pair.range_px, sixteenths.cols).convertTo(disparity, CV_32F, 1.0 / 16);
  disparity.setTo(kNoAnswer, disparity < 0);
  return disparity;
}

std::vector<Answers> opencvs(const Pair& pair) {
  std::array<cv::Mat, 2> grey;
  cv::extractChannel(pair.left, grey[0], 1);
  cv::extractChannel(pair.right, grey[1], 1);
  const cv::Mat sample = sgbm(pair, pair.left, pair.right, cv::StereoSGBM::MODE_SGBM);
  const cv::Mat eight = sgbm(pair, pair.left, pair.right, cv::StereoSGBM::MODE_HH);
  const cv::Mat green = sgbm(pair, grey[0], grey[1], cv::StereoSGBM::MODE_HH);
  return {{"SGBM, 5 paths, colour", sample}, {"the same, gaps filled", filled_along_rows(sample)},
          {"SGBM, 8 paths, colour", eight},  {"the same, gaps filled", filled_along_rows(eight)},
          {"SGBM, 8 paths, green", green},   {"the same, gaps filled", filled_along_rows(green)}};
}

// --- the count -----------------------------------------------------------------------------------

constexpr int kBorder_px = 4;

// Pixels of the left picture whose disparity is known and whose point the right one shows: nothing
// nearer lands on the same column there.
cv::Mat seen_by_both(const cv::Mat& truth) {
  cv::Mat seen(truth.size(), CV_8U, cv::Scalar(0));
  for (int y = 0; y < truth.rows; ++y) {
    const float* row = truth.ptr<float>(y);
    std::vector<float> nearest(static_cast<std::size_t>(truth.cols), 0);
    const auto column = [&](int x) {
      return static_cast<int>(std::lround(static_cast<float>(x) - row[x]));
    };
    for (int x = 0; x < truth.cols; ++x) {
      if (row[x] <= 0 || column(x) < 0) continue;
      float& there = nearest[static_cast<std::size_t>(column(x))];
      there = std::max(there, row[x]);
    }
    for (int x = 0; x < truth.cols; ++x) {
      if (row[x] <= 0 || column(x) < 0) continue;
      // One px nearer is the same surface, slanted.
      const bool border = x < kBorder_px || y < kBorder_px || x >= truth.cols - kBorder_px ||
                          y >= truth.rows - kBorder_px;
      const bool hidden = nearest[static_cast<std::size_t>(column(x))] > row[x] + 1;
      if (!hidden && !border) seen.at<std::uint8_t>(y, x) = 1;
    }
  }
  return seen;
}

struct Count {
  double answered = 0;            // share of what is seen by both
  std::array<double, 3> wrong{};  // by more than 1, 2, 4 px, of what was answered
  std::array<double, 3> bad{};    // the same or not answered, of all
};

Count count_of(const cv::Mat& disparity, const cv::Mat& truth, const cv::Mat& seen) {
  constexpr std::array<float, 3> kLimits_px = {1, 2, 4};
  int all = 0;
  int answered = 0;
  std::array<int, 3> wrong{};
  for (int y = 0; y < truth.rows; ++y) {
    for (int x = 0; x < truth.cols; ++x) {
      if (seen.at<std::uint8_t>(y, x) == 0) continue;
      ++all;
      const float found = disparity.at<float>(y, x);
      if (found == kNoAnswer) continue;
      ++answered;
      for (std::size_t i = 0; i < wrong.size(); ++i) {
        wrong[i] += std::abs(found - truth.at<float>(y, x)) > kLimits_px[i] ? 1 : 0;
      }
    }
  }
  if (all == 0 || answered == 0) give_up("nothing to count");
  Count count{.answered = 1.0 * answered / all};
  for (std::size_t i = 0; i < wrong.size(); ++i) {
    count.wrong[i] = 1.0 * wrong[i] / answered;
    count.bad[i] = 1.0 * (wrong[i] + all - answered) / all;
  }
  return count;
}

// What ours answers is off by more than 2 px no more often than what SGBM answers as OpenCV's
// sample runs it. Ours leaves more open, and fills it worse: once gaps are filled, up to twice as
// much of all may be bad.
bool is_as_found(const std::vector<Count>& counts) {
  constexpr std::size_t kMatched = 0, kFilled = 1, kSample = 2, kSampleFilled = 3, kTwo_px = 1;
  return counts[kMatched].wrong[kTwo_px] <= counts[kSample].wrong[kTwo_px] &&
         counts[kFilled].bad[kTwo_px] <= 2 * counts[kSampleFilled].bad[kTwo_px];
}

// Prints the table; is_as_found() of it.
bool compare(const Pair& pair) {
  const cv::Mat seen = seen_by_both(pair.truth);
  std::printf("%d x %d px, disparities 0 to %d px, %d pixels known and seen by both\n\n",
              pair.left.cols, pair.left.rows, pair.range_px, cv::countNonZero(seen));
  std::puts(
      "| matcher | answered % | of these off by > 1 px % | > 2 px | > 4 px | "
      "bad of all, > 1 px % | > 2 px | > 4 px |");
  std::puts("|---|---|---|---|---|---|---|---|");
  std::vector<Answers> all = ours(pair);
  for (Answers& answers : opencvs(pair)) all.push_back(std::move(answers));
  std::vector<Count> counts;
  for (const Answers& answers : all) {
    const Count& count = counts.emplace_back(count_of(answers.disparity, pair.truth, seen));
    std::printf("| %s | %.1f |", answers.name.c_str(), 100 * count.answered);
    for (const double share : count.wrong) std::printf(" %.1f |", 100 * share);
    for (const double share : count.bad) std::printf(" %.1f |", 100 * share);
    std::puts("");
  }
  std::puts("");
  return is_as_found(counts);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 4) {
    std::fputs("usage: study_disparities LEFT RIGHT TRUTH\n", stderr);
    return 1;
  }
  const Pair full = full_size(argv + 1);
  const bool at_full = compare(full);
  const bool at_half = compare(half_size(full));
  std::printf("as it was found: %s at full size, %s at half\n", at_full ? "yes" : "no",
              at_half ? "yes" : "no");
  return at_full && at_half ? 0 : 1;
}
