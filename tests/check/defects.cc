#include "tests/check/defects.h"

#include <algorithm>
#include <cmath>
#include <functional>

#include <opencv2/imgproc.hpp>

#include "compose/finish/level.h"
#include "imaging/orient.h"
#include "imaging/transfer.h"

namespace seamwright::test {

namespace {

void blur(Image& image, double sigma_px) {
  cv::Mat mat(image.height(), image.width(), CV_16UC3, image.bytes().data());
  cv::GaussianBlur(mat, mat, {}, sigma_px);
}

/// Changes the linear light of every sample.
void change_light(Image& image, const std::function<double(double, int, int, int)>& changed) {
  for (int y = 0; y < image.height(); ++y) {
    const auto row = image.row<std::uint16_t>(y);
    for (int x = 0; x < image.width(); ++x) {
      for (int c = 0; c < 3; ++c) {
        auto& code = row[static_cast<std::size_t>(3 * x + c)];
        const double light = changed(srgb_to_linear(code / 65535.0), x, y, c);
        code = static_cast<std::uint16_t>(
            std::lround(65535 * std::clamp(linear_to_srgb(light), 0.0, 1.0)));
      }
    }
  }
}

}  // namespace

std::string_view name_of(Defect defect) {
  constexpr std::string_view kNames[kDefects] = {"none",     "knocked",     "swapped",
                                                 "mirrored", "blurred",     "overexposed",
                                                 "veiled",   "other shots", "leaning"};
  return kNames[static_cast<std::size_t>(defect)];
}

SeededShot with_defect(Defect defect, const RigTemplate& body, const std::vector<Frame>& frames,
                       const std::vector<Frame>& other, double most_knock_deg, Random& random) {
  SeededShot shot{.body = body, .frames = frames};
  Image& one = shot.frames[random.chance(0.5) ? 1 : 0].image;
  switch (defect) {
    case Defect::none:
      break;
    case Defect::knocked: {
      const double size = rad_from_deg(most_knock_deg * random.uniform(0.05, 1));
      const Vec3 axis = Vec3(random.normal(1), random.normal(1), random.normal(1)).normalized();
      Quat& mount = shot.body.solution.rig.lenses[1].rig_from_lens;
      mount = quat_from_rotation_vector(size * axis) * mount;
      break;
    }
    case Defect::swapped:
      std::swap(shot.frames[0], shot.frames[1]);
      break;
    case Defect::mirrored:
      for (Frame& frame : shot.frames) frame.image = mirror_left_right(frame.image);
      break;
    case Defect::blurred:
      blur(one, random.uniform(1, 3));
      break;
    case Defect::overexposed: {
      const double factor = std::exp2(random.uniform(1.5, 3));
      change_light(one, [=](double light, int, int, int) { return factor * light; });
      break;
    }
    case Defect::veiled: {
      const double turn = random.uniform(0, 2 * kPi);
      const double most = random.uniform(0.04, 0.2);
      const double half = 0.5 * one.width();
      change_light(one, [=](double light, int x, int y, int c) {
        const double along = ((x - half) * std::cos(turn) + (y - half) * std::sin(turn)) / half;
        return light + most * std::max(0.0, along) * (c == 0 ? 1.0 : c == 1 ? 0.85 : 0.6);
      });
      break;
    }
    case Defect::other_shots:
      shot.frames[1] = other[1];
      break;
    case Defect::leaning: {
      const Vec3 axis = Vec3(random.normal(1), 0, random.normal(1)).normalized();
      const Quat lean = quat_from_rotation_vector(rad_from_deg(random.uniform(3, 8)) * axis);
      shot.body.solution.rig = turned(body.rig(), lean);
      break;
    }
  }
  return shot;
}

}  // namespace seamwright::test
