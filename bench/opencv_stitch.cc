#include "bench/opencv_stitch.h"

#include <algorithm>
#include <chrono>
#include <cmath>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <opencv2/stitching/detail/blenders.hpp>
#include <opencv2/stitching/detail/exposure_compensate.hpp>
#include <opencv2/stitching/detail/seam_finders.hpp>
#include <sys/resource.h>

#include "base/parallel.h"
#include "projection/equirect.h"

namespace seamwright::bench {

namespace {

namespace fs = std::filesystem;

class Stages {
 public:
  void end(const char* stage) {
    const auto now = std::chrono::steady_clock::now();
    const double cpu = cpu_seconds();
    stages_.push_back({stage, std::chrono::duration<double>(now - begin_).count(), cpu - cpu_});
    begin_ = now;
    cpu_ = cpu;
  }
  [[nodiscard]] std::vector<StageSeconds> all() const { return stages_; }

 private:
  std::chrono::steady_clock::time_point begin_ = std::chrono::steady_clock::now();
  double cpu_ = cpu_seconds();
  std::vector<StageSeconds> stages_;
};

Error broken(const fs::path& file, const char* what) {
  return {.kind = ErrorKind::io,
          .where = file.string(),
          .field = {},
          .what = what,
          .remedy = "check the path and free space"};
}

// What cv::remap reads: whole pixels and 1/32 fractions. Beyond the field of view: outside the
// frame.
struct Maps {
  cv::Mat whole;
  cv::Mat fraction;
  cv::Mat seen;  // 255 where the lens sees
};

Maps maps_of(const MountedLens& mounted, const Equirect& raster) {
  constexpr float kOutside = -100;
  cv::Mat x(raster.height, raster.width, CV_32F);
  cv::Mat y(raster.height, raster.width, CV_32F);
  Maps maps;
  maps.seen.create(raster.height, raster.width, CV_8U);
  const Quat lens_from_rig = mounted.rig_from_lens.conjugate();
  parallel_for(0, raster.height, [&](int row) {
    for (int column = 0; column < raster.width; ++column) {
      const Vec3 direction = raster.direction({column + 0.5, row + 0.5});
      const auto px = mounted.lens.project(lens_from_rig * direction);
      // OpenCV's pixel centres are whole numbers.
      x.at<float>(row, column) = px ? static_cast<float>(px->x() - 0.5) : kOutside;
      y.at<float>(row, column) = px ? static_cast<float>(px->y() - 0.5) : kOutside;
      maps.seen.at<std::uint8_t>(row, column) = px ? 255 : 0;
    }
  });
  cv::convertMaps(x, y, maps.whole, maps.fraction, CV_16SC2);
  return maps;
}

void remap(const cv::Mat& frame, const Maps& maps, const cv::Range& columns, cv::Mat& panorama,
           int interpolation) {
  cv::Mat part = panorama.colRange(columns);
  cv::remap(frame, part, maps.whole.colRange(columns), maps.fraction.colRange(columns),
            interpolation, cv::BORDER_CONSTANT);
}

std::vector<int> uncompressed() { return {cv::IMWRITE_TIFF_COMPRESSION, 1}; }

// Sizes of work that the stitching module's own chain uses.
constexpr double kSeam_px = 0.5e6;
constexpr int kBands = 5;

cv::Mat smaller(const cv::Mat& picture, double scale, int interpolation) {
  cv::Mat small;
  cv::resize(picture, small, {}, scale, scale, interpolation);
  return small;
}

}  // namespace

double cpu_seconds() {
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  const auto seconds = [](const timeval& time) {
    return static_cast<double>(time.tv_sec) + 1e-6 * static_cast<double>(time.tv_usec);
  };
  return seconds(usage.ru_utime) + seconds(usage.ru_stime);
}

Result<std::vector<StageSeconds>> bare_remap(const Rig& rig, const std::vector<fs::path>& frames,
                                             const fs::path& out, int width_px, int interpolation) {
  const Equirect raster{width_px, width_px / 2};
  const Maps front = maps_of(rig.lenses[0], raster);
  const Maps back = maps_of(rig.lenses[1], raster);
  Stages stages;
  const cv::Mat front_frame = cv::imread(frames[0].string(), cv::IMREAD_UNCHANGED);
  const cv::Mat back_frame = cv::imread(frames[1].string(), cv::IMREAD_UNCHANGED);
  if (front_frame.empty() || back_frame.empty()) return fail(broken(frames[0], "not readable"));
  stages.end("read");
  cv::Mat panorama(raster.height, raster.width, front_frame.type());
  const int quarter = width_px / 4;
  remap(front_frame, front, {quarter, 3 * quarter}, panorama, interpolation);
  remap(back_frame, back, {0, quarter}, panorama, interpolation);
  remap(back_frame, back, {3 * quarter, width_px}, panorama, interpolation);
  stages.end("remap");
  if (!cv::imwrite(out.string(), panorama, uncompressed())) return fail(broken(out, "not written"));
  stages.end("write");
  return stages.all();
}

Result<std::vector<StageSeconds>> detail_pipeline(const Rig& rig,
                                                  const std::vector<fs::path>& frames,
                                                  const fs::path& out, int width_px) {
  const Equirect raster{width_px, width_px / 2};
  const std::size_t count = frames.size();
  std::vector<Maps> maps;
  for (const MountedLens& lens : rig.lenses) maps.push_back(maps_of(lens, raster));
  Stages stages;
  std::vector<cv::Mat> read;
  for (const fs::path& frame : frames) {
    read.push_back(cv::imread(frame.string(), cv::IMREAD_COLOR));
    if (read.back().empty()) return fail(broken(frame, "not readable"));
  }
  stages.end("read");

  std::vector<cv::Mat> views(count);
  for (std::size_t i = 0; i < count; ++i) {
    views[i].create(raster.height, raster.width, CV_8UC3);
    remap(read[i], maps[i], {0, width_px}, views[i], cv::INTER_CUBIC);
  }
  stages.end("remap");

  const double scale = std::min(1.0, std::sqrt(kSeam_px / (1.0 * raster.width * raster.height)));
  std::vector<cv::UMat> small(count);
  std::vector<cv::UMat> small_seen(count);
  std::vector<cv::UMat> small_float(count);
  const std::vector<cv::Point> corners(count);
  for (std::size_t i = 0; i < count; ++i) {
    smaller(views[i], scale, cv::INTER_LINEAR).copyTo(small[i]);
    smaller(maps[i].seen, scale, cv::INTER_NEAREST).copyTo(small_seen[i]);
  }
  cv::detail::GainCompensator gains(1);
  std::vector<std::pair<cv::UMat, std::uint8_t>> seen_where;
  for (const cv::UMat& mask : small_seen) seen_where.emplace_back(mask, 255);
  gains.feed(corners, small, seen_where);
  for (std::size_t i = 0; i < count; ++i) {
    gains.apply(static_cast<int>(i), {}, small[i], small_seen[i]);
    small[i].convertTo(small_float[i], CV_32F);
  }
  stages.end("gain");
  cv::detail::GraphCutSeamFinder(cv::detail::GraphCutSeamFinderBase::COST_COLOR)
      .find(small_float, corners, small_seen);
  stages.end("seam");

  cv::detail::MultiBandBlender blender(0, kBands);
  blender.prepare(cv::Rect(0, 0, raster.width, raster.height));
  for (std::size_t i = 0; i < count; ++i) {
    gains.apply(static_cast<int>(i), {}, views[i], maps[i].seen);
    cv::Mat grown;
    cv::Mat mask;
    cv::dilate(small_seen[i], grown, cv::Mat());
    cv::resize(grown, mask, maps[i].seen.size(), 0, 0, cv::INTER_LINEAR_EXACT);
    cv::bitwise_and(mask, maps[i].seen, mask);
    cv::Mat deep;
    views[i].convertTo(deep, CV_16S);
    views[i].release();
    blender.feed(deep, mask, {0, 0});
  }
  cv::Mat panorama;
  cv::Mat seen;
  blender.blend(panorama, seen);
  panorama.convertTo(panorama, CV_8U);
  stages.end("blend");
  if (!cv::imwrite(out.string(), panorama, uncompressed())) return fail(broken(out, "not written"));
  stages.end("write");
  return stages.all();
}

}  // namespace seamwright::bench
