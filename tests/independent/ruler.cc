#include "ruler.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <numeric>

#include <Eigen/Dense>

#include "sphere.h"

namespace independent {

namespace {

// The shift, in samples, under which `search` is most like `wanted`, to a fraction; empty where it
// lies at the end of the reach.
std::optional<Vector2d> best_shift(const std::function<Samples(const Vector2d&)>& search,
                                   const Samples& wanted, int reach) {
  const auto score = [&](double x, double y) { return likeness(search({x, y}), wanted); };
  double best = -1;
  Vector2d at(0, 0);
  for (int y = -reach; y <= reach; ++y) {
    for (int x = -reach; x <= reach; ++x) {
      const double found = score(x, y);
      if (found > best) {
        best = found;
        at = {x, y};
      }
    }
  }
  if (at.cwiseAbs().maxCoeff() >= reach || best < 0.8) return std::nullopt;
  for (const double step : {0.5, 0.25, 0.125}) {
    for (int axis = 0; axis < 2; ++axis) {
      Vector2d by = Vector2d::Zero();
      by[axis] = step;
      const double less = score(at.x() - by.x(), at.y() - by.y());
      const double here = score(at.x(), at.y());
      const double more = score(at.x() + by.x(), at.y() + by.y());
      const double bow = less - 2 * here + more;
      if (bow < 0) at += std::clamp(0.5 * (less - more) / bow, -1.0, 1.0) * by;
    }
  }
  return at;
}

struct Miss {
  Vector3d where;   // unit
  Vector3d offset;  // tangent, rad
};

}  // namespace

Picture depth_of(const Picture& fog) {
  Picture depth(fog.width, fog.height);
  for (std::size_t i = 0; i < fog.samples.size(); ++i) {
    depth.samples[i] = -4 * std::log(std::max(1e-3F, 1 - fog.samples[i]));
  }
  return depth;
}

Placing placing(const Picture& stitched, const Room& room, const Stand& stand) {
  constexpr int kSide = 17;
  constexpr int kReach = 5;
  const double step = 1 / kFrame_px_per_rad;
  const Picture codes = codes_of(stitched);
  const Picture ideal_codes = codes_of(room.light);
  const auto code = [&](const Vector3d& v) { return Sphere(codes).at(v, 0); };
  const auto ideal_code = [&](const Vector3d& v) { return Sphere(ideal_codes).at(v, 0); };
  Placing result;
  result.turn_deg.setZero();
  for (int round = 0; round < 3; ++round) {
    const Matrix3d turn = turn_of(result.turn_deg);
    std::vector<Miss> misses;
    for (const Vector3d& q : spread(7)) {
      if (!away_from_seam_and_stand(stand, q)) continue;
      const Samples wanted = patch_around(ideal_code, q, {0, 0}, kSide, step);
      if (spread_of(wanted) < 0.03) continue;
      const Vector3d due = turn * seen_from_pupil(room, stand, q);
      const auto shift =
          best_shift([&](const Vector2d& by) { return patch_around(code, due, by, kSide, step); },
                     wanted, kReach);
      if (!shift) continue;
      const Vector3d right = Vector3d(due.z(), 0, -due.x()).normalized();
      misses.push_back({due, step * (shift->x() * right + shift->y() * due.cross(right))});
    }
    result.patches = static_cast<int>(misses.size());
    // The turn that explains most of it: offset = turn × where, robustly.
    Vector3d left = Vector3d::Zero();
    for (int i = 0; i < 20; ++i) {
      Matrix3d normal = 1e-12 * Matrix3d::Identity();
      Vector3d right_side = Vector3d::Zero();
      for (const Miss& miss : misses) {
        const double off = (miss.offset - left.cross(miss.where)).norm();
        const double weight = 1 / (1 + std::pow(off / (0.3 * step), 2));
        normal += weight * (Matrix3d::Identity() - miss.where * miss.where.transpose());
        right_side += weight * miss.where.cross(miss.offset);
      }
      left = normal.inverse() * right_side;
    }
    std::vector<double> rest;
    for (const Miss& miss : misses) {
      rest.push_back((miss.offset - left.cross(miss.where)).norm() / step);
    }
    if (!rest.empty()) result.miss_px = median(rest);
    result.turn_deg += left / kDegree;
  }
  result.tilt_deg = std::hypot(result.turn_deg.x(), result.turn_deg.z());
  return result;
}

SeamPatches seam_patches(const Picture& stitched, const Room& room, const Stand& stand,
                         const Vector3d& turn_deg) {
  constexpr int kAround = 2048;
  constexpr int kSide = 24;
  constexpr int kReach_parallax = 16;
  constexpr int kReach_sideways = 2;
  constexpr int kRows = 2 * (kSide + kReach_parallax);
  const Matrix3d upright_from_body = stand.upright_from_body();
  const Matrix3d turn = turn_of(turn_deg);
  // Both pictures around the body's axis, smoothed by a sigma of one pixel.
  const auto unrolled = [&](const Picture& picture, bool is_stitched) {
    const Picture codes = codes_of(picture);
    const Sphere sphere(codes);
    Samples raw(static_cast<std::size_t>(kAround) * kRows);
    for (int y = 0; y < kRows; ++y) {
      for (int x = 0; x < kAround; ++x) {
        const double psi = 2 * kPi * (x + 0.5) / kAround;
        const double eta = 0.5 * kPi + (y + 0.5 - 0.5 * kRows) * 2 * kPi / kAround;
        const Vector3d v =
            upright_from_body *
            Vector3d(std::sin(eta) * std::cos(psi), std::sin(eta) * std::sin(psi), std::cos(eta));
        raw[static_cast<std::size_t>(y * kAround + x)] =
            sphere.at(is_stitched ? (turn * v).eval() : v, 0);
      }
    }
    Samples smooth(raw.size());
    for (int y = 0; y < kRows; ++y) {
      for (int x = 0; x < kAround; ++x) {
        double sum = 0;
        double weights = 0;
        for (int j = -2; j <= 2; ++j) {
          for (int i = -2; i <= 2; ++i) {
            const double w = std::exp(-0.5 * (i * i + j * j));
            const int row = std::clamp(y + j, 0, kRows - 1);
            const int column = (x + i + kAround) % kAround;
            sum += w * raw[static_cast<std::size_t>(row * kAround + column)];
            weights += w;
          }
        }
        smooth[static_cast<std::size_t>(y * kAround + x)] = sum / weights;
      }
    }
    return smooth;
  };
  const Samples found = unrolled(stitched, true);
  const Samples ideal = unrolled(room.light, false);
  const auto patch = [&](const Samples& ring, int x, double parallax, int sideways,
                         double stretch) {
    Samples samples;
    for (int j = 0; j < kSide; ++j) {
      const double y = 0.5 * kRows - 0.5 + parallax + stretch * (j - 0.5 * (kSide - 1));
      const int row = std::clamp(static_cast<int>(std::floor(y)), 0, kRows - 2);
      const double low = std::clamp(y - row, 0.0, 1.0);
      for (int i = 0; i < kSide; ++i) {
        const auto column =
            static_cast<std::size_t>((x + sideways + i - kSide / 2 + kAround) % kAround);
        const auto at = static_cast<std::size_t>(row * kAround) + column;
        samples.push_back((1 - low) * ring[at] + low * ring[at + kAround]);
      }
    }
    return samples;
  };
  SeamPatches result;
  int broken = 0;
  int blemished = 0;
  for (int x = 0; x < kAround; x += kSide / 2) {
    const double psi = 2 * kPi * (x + 0.5) / kAround;
    const Vector3d middle = upright_from_body * Vector3d(std::cos(psi), std::sin(psi), 0);
    if (at_stand(middle)) continue;
    if (spread_of(patch(ideal, x, 0, 0, 1)) < 0.03) continue;
    ++result.textured;
    const Samples shown = patch(found, x, 0, 0, 1);
    double best = -1;
    double best_parallax = 0;
    int best_sideways = 0;
    const auto take = [&](double parallax, int sideways, double stretch) {
      const double score = likeness(shown, patch(ideal, x, parallax, sideways, stretch));
      if (score <= best) return;
      best = score;
      best_parallax = parallax;
      best_sideways = sideways;
    };
    for (const double stretch : {0.8, 0.9, 1.0, 1.1, 1.2}) {
      for (int parallax = -kReach_parallax; parallax <= kReach_parallax; ++parallax) {
        for (int sideways = -kReach_sideways; sideways <= kReach_sideways; ++sideways) {
          take(parallax, sideways, stretch);
        }
      }
    }
    const double near = best_parallax;
    const int beside = best_sideways;
    for (double stretch = 0.76; stretch < 1.285; stretch += 0.04) {
      for (double parallax = near - 1.5; parallax <= near + 1.5; parallax += 0.25)
        take(parallax, beside, stretch);
    }
    result.patches.push_back({psi / kDegree, best});
    result.unlike += 1 - best;
    broken += best < 0.85 ? 1 : 0;
    blemished += best < 0.93 ? 1 : 0;
  }
  if (result.textured > 0) {
    result.broken = static_cast<double>(broken) / result.textured;
    result.blemished = static_cast<double>(blemished) / result.textured;
    result.unlike /= result.textured;
  }
  return result;
}

}  // namespace independent
