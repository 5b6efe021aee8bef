#include "features/relative_pose.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <random>

#include <Eigen/LU>

#include "features/square.h"
#include "projection/dense_algebra.h"

namespace seamwright {

namespace {

constexpr double kNearEpipole = 0.05;  // sine of the angle to the epipole
constexpr double kConfidence = 0.9999;
constexpr double kLogDistanceSigma = 0.8;  // prior of the distance around its start
// What tells the distance, the pupils' effect, looks much like an error of the rig, which all pairs
// share: for the distance, they count as so many and no more.
constexpr double kIndependent = 4;
constexpr int kRefinements = 12;
constexpr int kRounds = 4;  // of choosing inliers and refining
constexpr double kSigmas = 3.5;
constexpr double kLeastDistance = 3;  // between stands, in units of the pupils' spread
// Starts of the distance, in units of the pupils' spread.
constexpr double kDistances[] = {12, 40, 130};

double quantile_of(std::vector<double> values, double share) {
  if (values.empty()) return 0;
  const auto at =
      values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

// Sum of truncated squared residuals of an essential matrix.
double misfit(const Mat3& essential, std::span<const RayPair> pairs, double threshold_rad,
              double best) {
  const double limit = square(threshold_rad);
  double sum = 0;
  for (const RayPair& pair : pairs) {
    const Vec3 line_b = essential * pair.a.direction;
    const Vec3 line_a = essential.transpose() * pair.b.direction;
    const double error2 = square(pair.b.direction.dot(line_b));
    const double scale = line_a.squaredNorm() + line_b.squaredNorm();
    sum += std::min(error2, limit * scale) / std::max(scale, 1e-12);
    if (sum > best) return sum;
  }
  return sum;
}

// True where both rays meet in front, or meet too far away to say.
bool in_front(const RelativePose& pose, const RayPair& pair, double threshold_rad) {
  const Vec3 turned = pose.rotation * pair.a.direction;
  if (angle_between(turned, pair.b.direction) < 2 * threshold_rad) return true;
  const auto depths = ray_depths(pose, pair);
  return depths && depths->a > 0 && depths->b > 0;
}

bool agrees(const RelativePose& pose, const RayPair& pair, double threshold_rad) {
  const auto residual = epipolar_residual(pose, pair);
  return residual && std::abs(*residual) < threshold_rad && in_front(pose, pair, threshold_rad);
}

std::array<BearingPair, 5> sample(std::span<const RayPair> pairs, std::mt19937_64& random) {
  std::array<std::size_t, 5> chosen{};
  for (std::size_t k = 0; k < chosen.size(); ++k) {
    do {
      chosen[k] = static_cast<std::size_t>(random() % pairs.size());
    } while (std::find(chosen.begin(), chosen.begin() + static_cast<std::ptrdiff_t>(k),
                       chosen[k]) != chosen.begin() + static_cast<std::ptrdiff_t>(k));
  }
  std::array<BearingPair, 5> bearings;
  for (std::size_t k = 0; k < chosen.size(); ++k) {
    bearings[k] = {pairs[chosen[k]].a.direction, pairs[chosen[k]].b.direction};
  }
  return bearings;
}

// Draws needed to meet five inliers once, if the best motion so far is right.
double draws_needed(double misfit_share) {
  const double inliers = std::clamp(1 - misfit_share, 0.02, 0.999);
  return std::log(1 - kConfidence) / std::log(1 - std::pow(inliers, 5));
}

std::optional<RelativePose> search(std::span<const RayPair> pairs, const PoseOptions& options) {
  std::mt19937_64 random(options.seed);
  const double worst = square(options.threshold_rad) * static_cast<double>(pairs.size());
  double best = worst;
  std::optional<Mat3> found;
  for (int i = 0; i < options.max_iterations; ++i) {
    if (found && i > draws_needed(best / worst)) break;
    for (const Mat3& essential : essential_matrices(sample(pairs, random))) {
      const double here = misfit(essential, pairs, options.threshold_rad, best);
      if (here >= best) continue;
      best = here;
      found = essential;
    }
  }
  if (!found) return std::nullopt;
  std::optional<RelativePose> pose;
  std::ptrdiff_t most = 0;
  for (const RelativePose& motion : motions_of(*found)) {
    const auto count = std::count_if(pairs.begin(), pairs.end(), [&](const RayPair& pair) {
      const RayPair central{{Vec3::Zero(), pair.a.direction}, {Vec3::Zero(), pair.b.direction}};
      return agrees(motion, central, options.threshold_rad);
    });
    if (count > most) {
      most = count;
      pose = motion;
    }
  }
  return pose;
}

using Normal = Eigen::Matrix<double, 6, 6>;  // rotation vector in b, then translation
using Unknowns = Eigen::Matrix<double, 6, 1>;

struct Linearised {
  Normal information = Normal::Zero();
  Unknowns gradient = Unknowns::Zero();
  double cost = 0;
};

// Geman–McClure on residuals in units of `scale_rad`.
Linearised linearise(const RelativePose& pose, std::span<const RayPair> pairs, double scale_rad) {
  Linearised sum;
  for (const RayPair& pair : pairs) {
    const Vec3 origin = pose.rotation * pair.a.origin;
    const Vec3 turned = pose.rotation * pair.a.direction;
    const Vec3 base = pose.translation + origin - pair.b.origin;
    const Vec3& b = pair.b.direction;
    const Vec3 by_base = turned.cross(b);
    const double scale = std::sqrt(base.cross(turned).squaredNorm() + base.cross(b).squaredNorm());
    if (scale <= kNearEpipole * base.norm()) {
      sum.cost += 1;  // says nothing: no gain from moving the epipole here
      continue;
    }
    const double r = base.dot(by_base) / scale / scale_rad;
    // The denominator's part: without it every residual would call for a shorter way.
    const Vec3 scale_by_base = (2 * base - turned * turned.dot(base) - b * b.dot(base)) / scale;
    const Vec3 scale_by_turn =
        origin.cross(scale_by_base) - turned.dot(base) / scale * turned.cross(base);
    Unknowns row;
    row << turned.cross(b.cross(base)) + origin.cross(by_base) - r * scale_rad * scale_by_turn,
        by_base - r * scale_rad * scale_by_base;
    row /= scale * scale_rad;
    const double weight = 1 / square(1 + square(r));
    sum.information += weight * row * row.transpose();
    sum.gradient += weight * r * row;
    sum.cost += square(r) / (1 + square(r));
  }
  return sum;
}

struct Refined {
  RelativePose pose;
  double cost = 0;
  double distance_sigma = 0;
};

// The distance keeps near its start as far as the pupils do not say otherwise.
Refined refined(const RelativePose& start, std::span<const RayPair> pairs, double scale_rad) {
  const double start_distance = start.translation.norm();
  RelativePose pose = start;
  Normal information = Normal::Zero();
  double cost = 0;
  const double dependence = std::max(1.0, static_cast<double>(pairs.size()) / kIndependent);
  const double precision = dependence / square(kLogDistanceSigma);
  for (int i = 0; i < kRefinements; ++i) {
    Linearised sum = linearise(pose, pairs, scale_rad);
    const double distance = pose.translation.norm();
    Unknowns outward = Unknowns::Zero();
    outward.tail<3>() = pose.translation / square(distance);  // d log distance
    const double off = std::log(distance / start_distance);
    sum.information += precision * outward * outward.transpose();
    sum.gradient += precision * off * outward;
    cost = sum.cost + precision * square(off);
    information = sum.information;
    Normal damped = information;
    damped.diagonal() *= 1 + 1e-6;
    Unknowns step = -solve_symmetric(damped, sum.gradient);
    if (!step.allFinite()) break;
    // No farther than half the distance at once.
    const double largest = 0.5 * distance;
    if (step.tail<3>().norm() > largest) step *= largest / step.tail<3>().norm();
    pose.rotation = (quat_from_rotation_vector(step.head<3>()) * pose.rotation).normalized();
    // The rotation turns what is seen, not the way between the stands.
    pose.translation += step.tail<3>();
    if (step.head<3>().norm() < 1e-9 && step.tail<3>().norm() < 1e-8 * distance) break;
  }
  Unknowns along = Unknowns::Zero();
  along.tail<3>() = pose.translation.normalized();
  const double variance = dependence * along.dot(Unknowns(solve_symmetric(information, along)));
  return {pose, cost, std::sqrt(std::max(variance, 0.0)) / pose.translation.norm()};
}

// How far the pupils lie apart.
double pupil_spread(std::span<const RayPair> pairs) {
  double farthest = 0;
  for (const RayPair& pair : pairs) {
    farthest = std::max({farthest, (pair.a.origin - pair.b.origin).norm(),
                         (pair.a.origin - pairs.front().a.origin).norm()});
  }
  return farthest;
}

std::vector<RayPair> chosen(std::span<const RayPair> pairs, const std::vector<bool>& inlier) {
  std::vector<RayPair> kept;
  for (std::size_t i = 0; i < pairs.size(); ++i) {
    if (inlier[i]) kept.push_back(pairs[i]);
  }
  return kept;
}

PoseEstimate judged(const RelativePose& pose, std::span<const RayPair> pairs,
                    double threshold_rad) {
  PoseEstimate estimate{.pose = pose, .inlier = std::vector<bool>(pairs.size(), false)};
  std::vector<double> residuals;
  std::vector<double> parallaxes;
  for (std::size_t i = 0; i < pairs.size(); ++i) {
    if (!agrees(pose, pairs[i], threshold_rad)) continue;
    estimate.inlier[i] = true;
    ++estimate.inliers;
    residuals.push_back(std::abs(*epipolar_residual(pose, pairs[i])));
    parallaxes.push_back(angle_between(pose.rotation * pairs[i].a.direction, pairs[i].b.direction));
  }
  estimate.sigma_rad = 1.4826 * quantile_of(std::move(residuals), 0.5);
  estimate.parallax_rad = quantile_of(std::move(parallaxes), 0.75);
  return estimate;
}

std::optional<PoseEstimate> settle(std::span<const RayPair> pairs,
                                   const std::vector<RelativePose>& starts,
                                   const PoseOptions& options) {
  std::optional<PoseEstimate> best;
  double best_cost = std::numeric_limits<double>::max();
  for (const RelativePose& start : starts) {
    PoseEstimate estimate = judged(start, pairs, options.threshold_rad);
    Refined last;
    for (int round = 0; round < kRounds && estimate.inliers >= options.least_inliers; ++round) {
      const double scale = std::max(2 * estimate.sigma_rad, options.least_threshold_rad / 2);
      last = refined(estimate.pose, chosen(pairs, estimate.inlier), scale);
      const double threshold = std::clamp(kSigmas * estimate.sigma_rad, options.least_threshold_rad,
                                          options.threshold_rad);
      estimate = judged(last.pose, pairs, threshold);
      estimate.distance_sigma = last.distance_sigma;
    }
    if (estimate.inliers < options.least_inliers) continue;
    // With the pupils farther apart than the stands, their noise would be fitted by the pupils.
    if (estimate.pose.translation.norm() < kLeastDistance * pupil_spread(pairs)) continue;
    // Compared on all pairs alike.
    const double cost =
        linearise(estimate.pose, pairs, options.least_threshold_rad).cost + 1e-3 * last.cost;
    if (cost < best_cost) {
      best_cost = cost;
      best = std::move(estimate);
    }
  }
  if (!best || best->inliers < options.least_share * static_cast<double>(pairs.size()) ||
      best->parallax_rad < std::max(options.least_parallax_rad, 8 * best->sigma_rad)) {
    return std::nullopt;
  }
  return best;
}

}  // namespace

std::optional<RayDepths> ray_depths(const RelativePose& pose, const RayPair& pair) {
  const Vec3 turned = pose.rotation * pair.a.direction;
  const Vec3 base = pose.translation + pose.rotation * pair.a.origin - pair.b.origin;
  const Vec3 normal = turned.cross(pair.b.direction);
  const double sine2 = normal.squaredNorm();
  if (sine2 < 1e-14) return std::nullopt;
  return RayDepths{pair.b.direction.cross(base).dot(normal) / sine2,
                   turned.cross(base).dot(normal) / sine2};
}

std::optional<double> epipolar_residual(const RelativePose& pose, const RayPair& pair) {
  const Vec3 turned = pose.rotation * pair.a.direction;
  const Vec3 base = pose.translation + pose.rotation * pair.a.origin - pair.b.origin;
  const double scale =
      std::sqrt(base.cross(turned).squaredNorm() + base.cross(pair.b.direction).squaredNorm());
  if (scale <= kNearEpipole * base.norm()) return std::nullopt;
  return pair.b.direction.dot(base.cross(turned)) / scale;
}

std::optional<PoseEstimate> estimate_pose(std::span<const RayPair> pairs,
                                          const PoseOptions& options) {
  if (pairs.size() < static_cast<std::size_t>(std::max(options.least_inliers, 5))) {
    return std::nullopt;
  }
  const auto found = search(pairs, options);
  if (!found) return std::nullopt;
  std::vector<RelativePose> starts;
  const double spread = pupil_spread(pairs);
  for (const double distance : kDistances) {
    RelativePose start = *found;
    if (spread > 0) start.translation *= distance * spread;
    starts.push_back(start);
    if (!(spread > 0)) break;
  }
  return settle(pairs, starts, options);
}

std::optional<PoseEstimate> refine_pose(std::span<const RayPair> pairs, const RelativePose& start,
                                        const PoseOptions& options) {
  return settle(pairs, {start}, options);
}

}  // namespace seamwright
