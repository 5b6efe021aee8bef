#pragma once

// Panoramas by direction, and patches of them: what the rulers share.

#include <algorithm>
#include <cmath>
#include <functional>
#include <numeric>
#include <vector>

#include <Eigen/Dense>

#include "ruler.h"

namespace independent {

inline constexpr double kPi = 180 * kDegree;

// A panorama that is asked by direction: x right, y down, z ahead into its middle.
class Sphere {
 public:
  explicit Sphere(const Picture& picture) : picture_(picture) {}

  [[nodiscard]] double at(const Vector3d& v, int channel) const {
    const double x = picture_.width * (std::atan2(v.x(), v.z()) / (2 * kPi) + 0.5) - 0.5;
    const double y =
        picture_.height * (std::atan2(v.y(), std::hypot(v.x(), v.z())) / kPi + 0.5) - 0.5;
    const double left = std::floor(x);
    const double top = std::clamp(std::floor(y), 0.0, picture_.height - 2.0);
    const double right_share = x - left;
    const double low_share = std::clamp(y - top, 0.0, 1.0);
    const auto pixel = [&](double column, double row) {
      const int i = (static_cast<int>(column) % picture_.width + picture_.width) % picture_.width;
      return static_cast<double>(picture_.at(i, static_cast<int>(row), channel));
    };
    return (1 - low_share) *
               ((1 - right_share) * pixel(left, top) + right_share * pixel(left + 1, top)) +
           low_share *
               ((1 - right_share) * pixel(left, top + 1) + right_share * pixel(left + 1, top + 1));
  }

 private:
  const Picture& picture_;
};

// As the eye sees it: the mean of a pixel's codes, in every channel.
inline Picture codes_of(const Picture& light) {
  Picture codes(light.width, light.height);
  for (std::size_t i = 0; i < codes.samples.size(); i += 3) {
    double sum = 0;
    for (std::size_t c = 0; c < 3; ++c) {
      sum += srgb_code(std::clamp<double>(light.samples[i + c], 0, 1));
    }
    for (std::size_t c = 0; c < 3; ++c) codes.samples[i + c] = static_cast<float>(sum / 3);
  }
  return codes;
}

inline Matrix3d turn_of(const Vector3d& turn_deg) {
  const double angle = turn_deg.norm() * kDegree;
  if (angle == 0) return Matrix3d::Identity();
  return Eigen::AngleAxisd(angle, turn_deg.normalized()).toRotationMatrix();
}

// Where the lens that sees q alone sees what the room has there.
inline Vector3d seen_from_pupil(const Room& room, const Stand& stand, const Vector3d& q) {
  const Vector3d ahead = stand.upright_from_body().col(2);
  const double side = q.dot(ahead) > 0 ? 1 : -1;
  const double distance = Sphere(room.depth_m).at(q, 0);
  return (distance * q - 0.5 * side * kBaseline_m * ahead).normalized();
}

// Directions spread over the sphere, `spacing_deg` apart.
inline std::vector<Vector3d> spread(double spacing_deg) {
  std::vector<Vector3d> all;
  for (double latitude = -90 + 0.5 * spacing_deg; latitude < 90; latitude += spacing_deg) {
    const double down = latitude * kDegree;
    const int count = std::max(1, static_cast<int>(360 * std::cos(down) / spacing_deg));
    for (int k = 0; k < count; ++k) {
      const double around = 2 * kPi * (k + 0.5) / count;
      all.emplace_back(std::cos(down) * std::sin(around), std::sin(down),
                       std::cos(down) * std::cos(around));
    }
  }
  return all;
}

// What the stand hides: its plate reaches to 19 degrees from straight down.
inline bool at_stand(const Vector3d& q) { return q.y() > std::cos(20 * kDegree); }

// One lens alone is asked, and no stand is there.
inline bool away_from_seam_and_stand(const Stand& stand, const Vector3d& q) {
  const double off_seam = std::abs(std::asin(q.dot(stand.upright_from_body().col(2)))) / kDegree;
  return off_seam > 14 && !at_stand(q);
}

inline double median(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

using Samples = std::vector<double>;

inline double likeness(const Samples& a, const Samples& b) {
  const auto count = static_cast<double>(a.size());
  const double mean_a = std::accumulate(a.begin(), a.end(), 0.0) / count;
  const double mean_b = std::accumulate(b.begin(), b.end(), 0.0) / count;
  double aa = 1e-12;
  double bb = 1e-12;
  double ab = 0;
  for (std::size_t i = 0; i < a.size(); ++i) {
    aa += (a[i] - mean_a) * (a[i] - mean_a);
    bb += (b[i] - mean_b) * (b[i] - mean_b);
    ab += (a[i] - mean_a) * (b[i] - mean_b);
  }
  return ab / std::sqrt(aa * bb);
}

inline double spread_of(const Samples& a) {
  const auto count = static_cast<double>(a.size());
  const double mean = std::accumulate(a.begin(), a.end(), 0.0) / count;
  double square = 0;
  for (const double value : a) square += (value - mean) * (value - mean);
  return std::sqrt(square / count);
}

// A flat patch around a direction, as seen there; step_rad between samples.
inline Samples patch_around(const std::function<double(const Vector3d&)>& value,
                            const Vector3d& middle, const Vector2d& shift, int side,
                            double step_rad) {
  const Vector3d right = Vector3d(middle.z(), 0, -middle.x()).normalized();
  const Vector3d down = middle.cross(right);
  Samples samples;
  for (int j = 0; j < side; ++j) {
    for (int i = 0; i < side; ++i) {
      const double x = step_rad * (i - 0.5 * (side - 1) + shift.x());
      const double y = step_rad * (j - 0.5 * (side - 1) + shift.y());
      samples.push_back(value((middle + x * right + y * down).normalized()));
    }
  }
  return samples;
}

}  // namespace independent
