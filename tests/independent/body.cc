#include "body.h"

#include <algorithm>
#include <cmath>
#include <random>

#include <Eigen/Geometry>

namespace independent {

namespace {

constexpr double kSoftness_px = 0.5;  // of the lens, one sigma, in px of the frame
constexpr int kMostReach_px = 6;      // of that, in px of the render

// Ahead of lens 1 is behind the body.
Matrix3d facing(int which) {
  return which == 0 ? Matrix3d::Identity().eval()
                    : Vector3d(-1, 1, -1).asDiagonal().toDenseMatrix();
}

double off_axis_rad(const Vector3d& v) { return std::atan2(std::hypot(v.x(), v.y()), v.z()); }

// A render of kFisheyeField_deg, equidistant, under a lens' softness.
class Fisheye {
 public:
  Fisheye(const Picture& render, double softness_rad)
      : render_(render),
        px_per_rad_(render.width / (kFisheyeField_deg * kDegree)),
        sigma_px_(softness_rad * px_per_rad_) {}

  [[nodiscard]] double light(const Vector3d& v, int channel) const {
    const double theta = off_axis_rad(v);
    const double across = std::max(1e-12, std::hypot(v.x(), v.y()));
    const double x = 0.5 * render_.width + px_per_rad_ * theta * v.x() / across;
    const double y = 0.5 * render_.height + px_per_rad_ * theta * v.y() / across;
    const int reach = std::min(kMostReach_px, static_cast<int>(std::ceil(2.5 * sigma_px_)));
    const auto column = static_cast<int>(std::floor(x));
    const auto row = static_cast<int>(std::floor(y));
    std::array<double, 2 * kMostReach_px + 1> across_weight{};
    for (int i = -reach; i <= reach; ++i) {
      across_weight[static_cast<std::size_t>(i + reach)] = weight(column + i + 0.5 - x);
    }
    double sum = 0;
    double weights = 0;
    for (int j = std::max(0, row - reach); j <= std::min(render_.height - 1, row + reach); ++j) {
      const double down = weight(j + 0.5 - y);
      for (int i = std::max(0, column - reach); i <= std::min(render_.width - 1, column + reach);
           ++i) {
        const double w = down * across_weight[static_cast<std::size_t>(i - column + reach)];
        sum += w * render_.at(i, j, channel);
        weights += w;
      }
    }
    return weights > 0 ? sum / weights : 0;
  }

 private:
  [[nodiscard]] double weight(double off_px) const {
    return std::exp(-0.5 * off_px * off_px / (sigma_px_ * sigma_px_));
  }

  const Picture& render_;
  double px_per_rad_;
  double sigma_px_;
};

Vector2d decentred(const Vector2d& m, const Vector2d& p) {
  const double square = m.squaredNorm();
  return {m.x() + p.x() * (square + 2 * m.x() * m.x()) + 2 * p.y() * m.x() * m.y(),
          m.y() + p.y() * (square + 2 * m.y() * m.y()) + 2 * p.x() * m.x() * m.y()};
}

}  // namespace

Matrix3d Stand::upright_from_body() const {
  const double p = pitch_deg * kDegree;
  const double r = roll_deg * kDegree;
  // Columns: the body's right, down, ahead, as stands.inc turns them.
  const Vector3d ahead(0, -std::sin(p), std::cos(p));
  const Vector3d straight_up(0, -std::cos(p), -std::sin(p));
  const Vector3d flat_right(1, 0, 0);
  Matrix3d turn;
  turn.col(0) = std::cos(r) * flat_right + std::sin(r) * straight_up;
  turn.col(1) = -(std::cos(r) * straight_up - std::sin(r) * flat_right);
  turn.col(2) = ahead;
  return turn;
}

Vector2d Lens::project(const Vector3d& direction_in_body) const {
  const Vector3d v = body_from_lens.transpose() * direction_in_body;
  const double across = std::max(1e-12, std::hypot(v.x(), v.y()));
  const double radius = std::sin(bend * off_axis_rad(v)) / bend;
  const Vector2d ideal = radius / across * v.head<2>();
  return centre_px + focal_px * decentred(ideal, decentring);
}

std::optional<Vector3d> Lens::direction_in_lens(const Vector2d& px, int channel) const {
  Vector2d seen = (px - centre_px) / focal_px;
  if (channel != 1) {
    const auto& fringe = channel == 0 ? red_fringe : blue_fringe;
    const double rim = std::sin(bend * rim_deg * kDegree) / bend;
    const Vector2d wanted = seen;
    for (int i = 0; i < 5; ++i) {
      seen = wanted / (1 + fringe[0] + fringe[1] * seen.squaredNorm() / (rim * rim));
    }
  }
  Vector2d ideal = seen;
  for (int i = 0; i < 8; ++i) ideal -= decentred(ideal, decentring) - seen;
  const double radius = ideal.norm();
  if (bend * radius >= 1) return std::nullopt;
  const double theta = std::asin(bend * radius) / bend;
  const Vector2d across = radius > 1e-12 ? (ideal / radius).eval() : Vector2d(1, 0);
  return Vector3d(std::sin(theta) * across.x(), std::sin(theta) * across.y(), std::cos(theta));
}

std::array<Lens, 2> body_lenses() {
  Lens front;
  front.focal_px = 303.4;
  front.bend = 0.36;
  front.centre_px = {503.1, 497.6};
  front.decentring = {0.0006, -0.0004};
  front.red_fringe = {0.0004, 0.0007};
  front.blue_fringe = {-0.0005, -0.0009};
  front.vignetting = {0.0638, -0.101};
  Lens back = front;
  back.focal_px = 301.9;
  back.bend = 0.34;
  back.centre_px = {496.2, 501.9};
  back.decentring = {-0.0005, 0.0007};
  back.red_fringe = {0.0005, 0.0005};
  back.blue_fringe = {-0.0003, -0.0010};
  back.vignetting = {0.055, -0.112};
  back.gain = {0.96, 1.03, 1.05};
  back.body_from_lens = facing(1);
  return {front, turned(back, {0.42, -0.31, 0.55})};
}

Lens turned(const Lens& lens, const Vector3d& turn_deg) {
  Lens result = lens;
  const double angle = turn_deg.norm() * kDegree;
  if (angle > 0) {
    result.body_from_lens =
        Eigen::AngleAxisd(angle, turn_deg.normalized()).toRotationMatrix() * lens.body_from_lens;
  }
  return result;
}

Picture light_on_sensor(const Picture& render, const Lens& lens, int which) {
  const Fisheye scene(render, kSoftness_px / lens.focal_px);
  const Matrix3d render_from_lens = facing(which) * lens.body_from_lens;
  Picture light(kFrame_px, kFrame_px);
  for (int y = 0; y < kFrame_px; ++y) {
    for (int x = 0; x < kFrame_px; ++x) {
      for (int c = 0; c < 3; ++c) {
        const auto v = lens.direction_in_lens({x + 0.5, y + 0.5}, c);
        if (!v) continue;
        const double theta = off_axis_rad(*v);
        const double fade = std::clamp((theta / kDegree - lens.rim_deg) / lens.fade_deg, 0.0, 1.0);
        if (fade >= 1) continue;
        const double open = 1 - fade * fade * (3 - 2 * fade);
        const double shade = 1 + lens.vignetting[0] * theta + lens.vignetting[1] * theta * theta;
        light.at(x, y, c) =
            static_cast<float>(open * shade * lens.gain[static_cast<std::size_t>(c)] *
                               scene.light(render_from_lens * *v, c));
      }
    }
  }
  return light;
}

Picture exposed(const Picture& light, const Exposure& exposure) {
  std::mt19937_64 engine(exposure.seed);
  std::normal_distribution<double> normal;
  const double factor = std::exp2(exposure.ev);
  Picture codes(light.width, light.height);
  for (std::size_t i = 0; i < light.samples.size(); ++i) {
    double signal = factor * light.samples[i];
    if (exposure.full_well > 0) {
      const double electrons = exposure.full_well * signal;
      const double sigma = std::sqrt(electrons + exposure.read_noise * exposure.read_noise);
      signal += sigma / exposure.full_well * normal(engine);
    }
    codes.samples[i] = static_cast<float>(srgb_code(std::clamp(signal, 0.0, 1.0)));
  }
  return codes;
}

}  // namespace independent
