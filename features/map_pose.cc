#include "features/map_pose.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <random>
#include <set>

#include "features/square.h"
#include "projection/dense_algebra.h"

namespace seamwright {

namespace {

constexpr double kLengthStep = 1.08;  // of the lengths that are tried
constexpr int kRefinements = 8;
constexpr int kRounds = 4;           // of choosing inliers and refining
constexpr double kLeastKept = 0.85;  // of inliers, from round to round

using Step7 = Eigen::Matrix<double, 7, 1>;  // rotation vector here, translation, log scale

MapMotion moved(const MapMotion& from, const Step7& step) {
  return {(quat_from_rotation_vector(step.head<3>()) * from.rotation).normalized(),
          from.translation + step.segment<3>(3), from.scale * std::exp(step[6])};
}

// Both rays in the world here.
RayPair rays_here(const Crossing& crossing, const MapMotion& motion) {
  const Ray& b = crossing.rays.b;
  return {crossing.rays.a, {motion * b.origin, motion.rotation * b.direction}};
}

const RelativePose kStill{Quat::Identity(), Vec3::Zero()};

bool meets(const Crossing& crossing, const MapMotion& motion, const MapPoseOptions& options) {
  const RayPair rays = rays_here(crossing, motion);
  const auto off = epipolar_residual(kStill, rays);
  if (!off || std::abs(*off) > options.threshold_rad) return false;
  const auto depths = ray_depths(kStill, rays);
  if (!depths || !(depths->a > 0) || !(depths->b > 0)) return false;
  const double sizes = crossing.size_a_rad * depths->a / (crossing.size_b_rad * depths->b);
  return std::abs(std::log(sizes)) < std::log(options.most_size_misfit);
}

// Gauss–Newton with Geman–McClure weights, and differences for derivatives: it runs some ten times
// a pair of networks.
MapMotion fitted(const MapPose& start, std::span<const Crossing> crossings,
                 const MapPoseOptions& options) {
  constexpr double kSmall = 1e-6;
  const double scale_rad = options.threshold_rad / 2;
  MapMotion motion = start.here_from_there;
  for (int round = 0; round < kRefinements; ++round) {
    Eigen::Matrix<double, 7, 7> information = Eigen::Matrix<double, 7, 7>::Zero();
    Step7 gradient = Step7::Zero();
    std::array<MapMotion, 7> beside;
    for (int k = 0; k < 7; ++k) {
      beside[static_cast<std::size_t>(k)] = moved(motion, Step7(kSmall * Step7::Unit(k)));
    }
    for (std::size_t i = 0; i < crossings.size(); ++i) {
      if (!start.inlier[i]) continue;
      const auto residual = [&](const MapMotion& at) {
        return epipolar_residual(kStill, rays_here(crossings[i], at)).value_or(0) / scale_rad;
      };
      const double off = residual(motion);
      Step7 by;
      for (int k = 0; k < 7; ++k) {
        by[k] = (residual(beside[static_cast<std::size_t>(k)]) - off) / kSmall;
      }
      const double weight = 1 / square(1 + square(off));
      information += weight * by * by.transpose();
      gradient += weight * off * by;
    }
    information(6, 6) += 1 / square(options.scale_sigma);
    gradient[6] += std::log(motion.scale) / square(options.scale_sigma);
    information.diagonal() *= 1 + 1e-6;
    const Step7 step = -solve_symmetric(information, gradient);
    if (!step.allFinite()) break;
    motion = moved(motion, step);
    if (step.norm() < 1e-9) break;
  }
  return motion;
}

bool is_upright(const Quat& rotation, const MapPoseOptions& options) {
  return angle_between(rotation * Vec3::UnitY(), Vec3::UnitY()) <= options.most_lean_rad;
}

// Draws that meet five right matches once, where this share is right.
double draws_for(double right) {
  constexpr double kConfidence = 0.9999;
  const double all_right = std::min(std::pow(right, 5), 1 - 1e-9);
  return std::log(1 - kConfidence) / std::log1p(-all_right);
}

std::array<BearingPair, 5> draw_five(std::span<const Crossing> crossings,
                                     std::span<const int> drawn, std::mt19937_64& random) {
  std::array<BearingPair, 5> bearings;
  std::set<int> chosen;
  while (chosen.size() < bearings.size()) {
    chosen.insert(drawn[static_cast<std::size_t>(random() % drawn.size())]);
  }
  std::size_t k = 0;
  for (const int i : chosen) {
    const RayPair& rays = crossings[static_cast<std::size_t>(i)].rays;
    bearings[k++] = {rays.a.direction, rays.b.direction};
  }
  return bearings;
}

MapMotion back_of(const RelativePose& motion) {
  return MapMotion{motion.rotation, motion.translation, 1}.inverse();
}

std::optional<RelativePose> best_motion(std::span<const Crossing> central,
                                        std::span<const int> drawn, const MapPoseOptions& options,
                                        std::mt19937_64& random) {
  constexpr std::size_t kLeastDrawn = 6;
  constexpr std::ptrdiff_t kLeastAgreeing = 6;  // one more than any five have
  if (drawn.size() < kLeastDrawn) return std::nullopt;
  std::optional<RelativePose> best;
  std::ptrdiff_t most = kLeastAgreeing - 1;
  double enough = options.draws;
  for (int i = 0; i < options.draws && i < enough; ++i) {
    for (const Mat3& essential : essential_matrices(draw_five(central, drawn, random))) {
      for (const RelativePose& motion : motions_of(essential)) {
        if (!is_upright(motion.rotation, options)) continue;
        const MapMotion back = back_of(motion);
        const auto agreeing =
            std::count_if(central.begin(), central.end(),
                          [&](const Crossing& crossing) { return meets(crossing, back, options); });
        if (agreeing <= most) continue;
        most = agreeing;
        best = motion;
        enough = draws_for(static_cast<double>(most) / static_cast<double>(central.size()));
      }
    }
  }
  return best;
}

}  // namespace

std::vector<RelativePose> find_pair_motions(std::span<const Crossing> crossings,
                                            std::span<const int> drawn,
                                            const MapPoseOptions& options) {
  // The length of the way is not known: as if from one point.
  std::vector<Crossing> left(crossings.begin(), crossings.end());
  for (Crossing& crossing : left) crossing.rays.a.origin = crossing.rays.b.origin = Vec3::Zero();
  std::vector<int> drawn_left(drawn.begin(), drawn.end());
  std::mt19937_64 random(options.seed);
  std::vector<RelativePose> found;
  while (static_cast<int>(found.size()) < options.motions) {
    const auto best = best_motion(left, drawn_left, options, random);
    if (!best) break;
    found.push_back(*best);
    const MapMotion back = back_of(*best);
    std::erase_if(drawn_left,
                  [&](int i) { return meets(left[static_cast<std::size_t>(i)], back, options); });
    // Those that are explained stay in their places and agree with nothing any more.
    for (Crossing& crossing : left) {
      if (meets(crossing, back, options)) crossing.rays.b.direction = Vec3::Zero();
    }
  }
  return found;
}

MapMotion MapMotion::inverse() const {
  const Quat back = rotation.conjugate();
  return {back, -(back * translation) / scale, 1 / scale};
}

MapMotion MapStart::here_from_there(double length) const {
  return MapMotion{there_from_here, anchor + length * way, 1}.inverse();
}

MapPose judge_map_pose(std::span<const Crossing> crossings, const MapMotion& here_from_there,
                       const MapPoseOptions& options) {
  MapPose pose{.here_from_there = here_from_there,
               .inlier = std::vector<bool>(crossings.size(), false)};
  for (std::size_t i = 0; i < crossings.size(); ++i) {
    if (!meets(crossings[i], here_from_there, options)) continue;
    pose.inlier[i] = true;
    ++pose.inliers;
  }
  return pose;
}

std::optional<MapPose> find_map_pose(std::span<const Crossing> crossings, const MapStart& start,
                                     const MapPoseOptions& options) {
  if (!is_upright(start.there_from_here, options)) return std::nullopt;
  std::optional<MapPose> best;
  for (double length = options.shortest_m; length < options.longest_m; length *= kLengthStep) {
    MapPose pose = judge_map_pose(crossings, start.here_from_there(length), options);
    if (!best || pose.inliers > best->inliers) best = std::move(pose);
  }
  for (int round = 0; best && round < kRounds; ++round) {
    // A fit may lose one or two that were in by chance.
    MapPose better = judge_map_pose(crossings, fitted(*best, crossings, options), options);
    if (better.inliers < kLeastKept * best->inliers) break;
    best = std::move(better);
  }
  return best;
}

}  // namespace seamwright
