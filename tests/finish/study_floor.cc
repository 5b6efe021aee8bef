// How near fillings of the floor come to the floor that is there (run by hand):
//
//   study_floor FOLDER [RADIUS_DEG [VIEW_PX_PER_RAD [own]]]
//
// The demo's five rooms, photographed straight down from one stand each, without the stand, with
// the noise of its body. A cap is filled by the project's filling and by OpenCV's inpainting; a
// line a room says the PSNR of each inside the cap against what is there, in code values, dB.
// FOLDER gets the pictures: NAME_truth.png, NAME_ours.png and so on.

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>
#include <opencv2/photo.hpp>
#include <opencv2/xphoto.hpp>

#include "apps/demo/film.h"
#include "apps/demo/render.h"
#include "base/parallel.h"
#include "compose/finish/flat_view.h"
#include "compose/finish/patch_fill.h"
#include "imaging/convert.h"
#include "imaging/write_image.h"

namespace {

using namespace seamwright;

constexpr const char* kStands[] = {"library_1", "hall_2", "breakfast_2", "room3_1", "courtyard_1"};

template <class T>
T value_of(Result<T> result) {
  if (result) return std::move(*result);
  std::fprintf(stderr, "%s\n", result.error().line().c_str());
  std::exit(1);
}

// Looks straight down from the rig's centre.
class DownCamera final : public demo::Camera {
 public:
  DownCamera(const FlatView& view, const demo::Pose& pose, const Vec3& centre)
      : view_(view), pose_(pose), centre_(pose.position + pose.world_from_rig * centre) {}
  void cast(const demo::RowPoints& points, std::span<demo::CameraRay> rays) const override {
    for (std::size_t i = 0; i < rays.size(); ++i) {
      const Vec2 px(points.first_px + static_cast<double>(i) * points.step_px, points.v_px);
      const Vec3 direction = pose_.world_from_rig * view_.direction(px);
      rays[i] = {{demo::to_float(centre_), demo::to_float(direction)}, 1};
    }
  }
  [[nodiscard]] int width_px() const override { return view_.size_px; }
  [[nodiscard]] int height_px() const override { return view_.size_px; }
  [[nodiscard]] double px_angle_rad() const override {
    return 2 * view_.half_width / view_.size_px;
  }

 private:
  FlatView view_;
  demo::Pose pose_;
  Vec3 centre_;
};

Image floor_of(const demo::Studio& studio, const DemoShot& shot, const FlatView& view) {
  const DownCamera camera(view, demo::pose_of(shot), studio.body.centre());
  Image image(view.size_px, view.size_px, Channels::rgb, SampleType::u16);
  const auto gain = static_cast<float>(shot.sensitivity);
  constexpr int kRows = 32;
  parallel_for(0, (view.size_px + kRows - 1) / kRows, [&](int band) {
    const int top = band * kRows;
    const auto light = demo::expose_band(studio.house.scene, {}, camera, nullptr, top,
                                         std::min(top + kRows, view.size_px));
    demo::develop_band(light, {.gain = {gain, gain, gain}, .noise_seed = 7}, studio.sensor,
                       studio.curve, image);
  });
  return image;
}

cv::Mat3b as_bytes(const Image& picture) {
  const Image bytes = to_type(picture, SampleType::u8);
  cv::Mat3b mat(bytes.height(), bytes.width());
  for (int y = 0; y < mat.rows; ++y) {
    std::copy_n(bytes.row<std::uint8_t>(y).data(), 3 * mat.cols, mat.ptr(y));
  }
  return mat;
}

Image as_image(const cv::Mat3b& mat) {
  Image picture(mat.cols, mat.rows, Channels::rgb, SampleType::u8);
  for (int y = 0; y < mat.rows; ++y) {
    std::copy_n(mat.ptr(y), 3 * mat.cols, picture.row<std::uint8_t>(y).data());
  }
  return to_type(picture, SampleType::f32);
}

double psnr_in(const Image& a, const Image& b, const std::vector<std::uint8_t>& mask) {
  double sum = 0, count = 0;
  for (int y = 0; y < a.height(); ++y) {
    const auto row_a = a.row<float>(y), row_b = b.row<float>(y);
    for (std::size_t i = 0; i < row_a.size(); ++i) {
      const auto at = static_cast<std::size_t>(y) * row_a.size() / 3 + i / 3;
      if (mask[at] == 0) continue;
      sum += std::pow(row_a[i] - row_b[i], 2);
      ++count;
    }
  }
  return -10 * std::log10(sum / count);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 2) return 1;
  const std::string folder = argv[1];
  const double radius_deg = argc > 2 ? std::atof(argv[2]) : 14;
  const double px_per_rad = argc > 3 ? std::atof(argv[3]) : 446;  // of a panorama of 2800 px
  const bool with_opencv = argc <= 4;
  const double half_width = 3.1 * std::tan(rad_from_deg(radius_deg));
  FlatView view = FlatView::down(2 * deg_from_rad(std::atan(half_width)),
                                 2 * static_cast<int>(half_width * px_per_rad));
  DemoOptions options;
  options.light_cell_m = 0.5;
  const auto studio = value_of(demo::Studio::open(options));
  std::vector<std::uint8_t> mask(static_cast<std::size_t>(view.size_px) * view.size_px);
  cv::Mat1b hole(view.size_px, view.size_px);
  for (std::size_t i = 0; i < mask.size(); ++i) {
    const int x = static_cast<int>(i) % view.size_px, y = static_cast<int>(i) / view.size_px;
    const double off = std::hypot(x + 0.5 - view.size_px / 2.0, y + 0.5 - view.size_px / 2.0);
    mask[i] = off < view.size_px / 2.0 / 3.1 ? 1 : 0;
    hole(y, x) = mask[i] != 0 ? 255 : 0;
  }
  cv::Mat1b known;
  cv::bitwise_not(hole, known);
  for (const DemoShot& shot : demo_shots()) {
    if (std::find(std::begin(kStands), std::end(kStands), shot.name) == std::end(kStands)) continue;
    const Image truth = to_type(floor_of(studio, shot, view), SampleType::f32);
    const auto save = [&](const Image& picture, const char* what) {
      const auto done = write_image(folder + "/" + shot.name + "_" + what + ".png",
                                    to_type(picture, SampleType::u8));
      if (!done) std::fprintf(stderr, "%s\n", done.error().line().c_str());
    };
    save(truth, "truth");
    std::string line = fmt::format("{:12}", shot.name);
    const auto tell = [&](const Image& filled, const char* what) {
      save(filled, what);
      line += fmt::format("  {} {:.2f}", what, psnr_in(filled, truth, mask));
    };
    Image ours = truth;
    if (!fill_hole(ours, mask, FillingKind::patches)) return 1;
    tell(ours, "patches");
    Image shifted = truth;
    const Filling filling = value_of(fill_hole(shifted, mask, FillingKind::shifts));
    tell(shifted, "shifts");
    for (const double db : filling.beside_db) line += fmt::format("  beside {:.2f}", db);
    if (!with_opencv) {
      std::printf("%s\n", line.c_str());
      std::fflush(stdout);
      continue;
    }
    const cv::Mat3b bytes = as_bytes(truth);
    cv::Mat made;
    cv::inpaint(bytes, hole, made, 5, cv::INPAINT_NS);
    tell(as_image(made), "ns");
    cv::inpaint(bytes, hole, made, 5, cv::INPAINT_TELEA);
    tell(as_image(made), "telea");
    cv::Mat lab;
    cv::cvtColor(bytes, lab, cv::COLOR_RGB2Lab);
    cv::Mat filled_lab = lab.clone();
    cv::xphoto::inpaint(lab, known, filled_lab, cv::xphoto::INPAINT_SHIFTMAP);
    cv::cvtColor(filled_lab, made, cv::COLOR_Lab2RGB);
    tell(as_image(made), "shiftmap");
    std::printf("%s\n", line.c_str());
    std::fflush(stdout);
  }
  return 0;
}
