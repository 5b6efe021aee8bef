// Against OpenCV's merge after Debevec and Malik (version 4.6, module photo), which takes 8-bit
// frames; it is given the true response curve and the true exposures.

#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>
#include <opencv2/photo.hpp>

#include "imaging/convert.h"
#include "imaging/transfer.h"
#include "jobs/brackets/merge.h"
#include "tests/brackets/wedge.h"

using namespace seamwright;
using test::seed;

namespace {

std::vector<cv::Mat> as_mats(const std::vector<Frame>& frames) {
  std::vector<cv::Mat> mats;
  for (const Frame& frame : frames) {
    Image image = frame.image;
    mats.push_back(cv::Mat(image.height(), image.width(), CV_8UC3, image.bytes().data()).clone());
  }
  return mats;
}

Image as_image(const cv::Mat& mat) {
  Image image(mat.cols, mat.rows, Channels::rgb, SampleType::f32);
  for (int y = 0; y < mat.rows; ++y) {
    const auto* from = mat.ptr<float>(y);
    std::copy(from, from + 3 * mat.cols, image.row<float>(y).begin());
  }
  return image;
}

cv::Mat srgb_response() {
  cv::Mat response(256, 1, CV_32FC3);
  for (int code = 0; code < 256; ++code) {
    // Its logarithm is taken: code 0 stands for half of code 1.
    const auto light = static_cast<float>(srgb_to_linear(std::max(0.5, 1.0 * code) / 255.0));
    response.at<cv::Vec3f>(code) = {light, light, light};
  }
  return response;
}

/// Worst figures over the patches.
struct Figures {
  double nonlinearity = 0;  ///< largest deviation from proportional, the scale free
  double loss_db = 0;       ///< largest loss of SNR against the optimum of the 16-bit frames
};

// Over the middle 10 stops: 8-bit codes hold no more, and Debevec's weights leave nothing of the
// ends.
Figures figures_of(const Image& image, const std::vector<test::Photograph>& how) {
  constexpr int kFirst = 3, kLast = 23;
  double log_scale = 0;
  for (int patch = kFirst; patch <= kLast; ++patch) {
    const auto found = test::measure_patch(image, patch);
    log_scale += std::log(found.mean / found.light) / (kLast - kFirst + 1);
  }
  Figures figures;
  for (int patch = kFirst; patch <= kLast; ++patch) {
    const auto found = test::measure_patch(image, patch);
    const double off = found.mean / found.light / std::exp(log_scale) - 1;
    figures.nonlinearity = std::max(figures.nonlinearity, std::abs(off));
    const double snr = found.mean / found.deviation;
    figures.loss_db =
        std::max(figures.loss_db, 20 * std::log10(test::best_snr(found.light, how, 0.88) / snr));
  }
  return figures;
}

}  // namespace

TEST_CASE("A merge of 8-bit frames is more linear and quieter than Debevec's of OpenCV") {
  CAPTURE(seed());
  const auto series = test::take_wedge({-3, 0, 2}, {-3, 0, 2}, 160, false);
  std::vector<Frame> bytes = series.frames;
  for (Frame& frame : bytes) frame.image = to_type(frame.image, SampleType::u8);
  std::vector<float> times;
  for (const double exposure : series.nominal) times.push_back(static_cast<float>(exposure));
  cv::Mat merged_by_cv;
  cv::createMergeDebevec()->process(as_mats(bytes), merged_by_cv, times, srgb_response());
  const Figures debevec = figures_of(as_image(merged_by_cv), series.how);

  const auto merged = merge_brackets(bytes, series.nominal);
  REQUIRE(merged);
  const Figures ours = figures_of(merged->frame.image, series.how);
  const auto fine = merge_brackets(series.frames, series.nominal);
  REQUIRE(fine);
  const Figures ours_16 = figures_of(fine->frame.image, series.how);
  WARN("worst over 10 stops, off linear and lost dB: Debevec "
       << 100 * debevec.nonlinearity << " % " << debevec.loss_db << " dB, ours of the same bytes "
       << 100 * ours.nonlinearity << " % " << ours.loss_db << " dB, ours of 16 bits "
       << 100 * ours_16.nonlinearity << " % " << ours_16.loss_db << " dB");
  CHECK(ours.nonlinearity < debevec.nonlinearity);
  CHECK(ours.loss_db < debevec.loss_db);
  CHECK(ours_16.nonlinearity < 0.005);
}
