#include "jobs/learning/photometric.h"

#include <algorithm>
#include <cmath>

#include "base/median.h"
#include "projection/dense_algebra.h"

namespace seamwright {

namespace {

constexpr int kProfileTerms = 3;
constexpr double kCauchy = 2.0;  // of a whitened residual
constexpr int kRounds = 40;
constexpr double kGainSigma = 3.0;   // of log gain: only where nothing else ties it down
constexpr double kPieceShare = 0.3;  // lenses of one make: their terms differ by this share
constexpr double kWideApart = 0.15;  // of the rim radius
constexpr double kOutlier_sigmas = 4;
constexpr int kGreen = 1;

double robust_sigma(std::vector<double> values, double centre) {
  for (double& value : values) value = std::abs(value - centre);
  return 1.4826 * median(std::move(values));
}

Eigen::Vector3d powers(double r_hat) {
  const double q = r_hat * r_hat;
  return {q, q * q, q * q * q};
}

Eigen::Vector3d vector_of(const VignettingTerms& terms) { return {terms.v1, terms.v2, terms.v3}; }

// A polynomial on its way must not reach zero.
double brightness(const Eigen::Vector3d& terms, double r_hat) {
  return std::max(0.02, 1 + terms.dot(powers(r_hat)));
}

/// The least squares problem: profile terms of every lens, then log gains of every shot and lens.
class Problem {
 public:
  Problem(std::span<const LightPoint> points, int shots, const Rig& start,
          const PhotometricOptions& options)
      : points_(points), lenses_(start.lens_count()), shots_(shots), options_(options) {
    for (const MountedLens& mounted : start.lenses) {
      start_.push_back(vector_of(mounted.lens.vignetting));
    }
    profile_ = start_;
    log_gain_.setZero(shots_ * lenses_);
    for (const LightPoint& point : points) sights_ += static_cast<int>(point.size());
  }

  /// `colour` of the sights; profiles are held where `free_profile` is false.
  void solve(int colour, bool free_profile) {
    colour_ = colour;
    free_profile_ = free_profile;
    log_gain_.setZero();
    spread_ = 0;
    for (int round = 0; round < kRounds; ++round) {
      update_residuals();
      if (step() < 1e-9) break;
    }
    update_residuals();
  }

  [[nodiscard]] const Eigen::Vector3d& profile(int lens) const { return profile_[index(lens)]; }
  void hold_at_start(int lens) { profile_[index(lens)] = start_[index(lens)]; }
  [[nodiscard]] double log_gain(int shot, int lens) const { return log_gain_[at(shot, lens)]; }
  [[nodiscard]] double spread() const { return spread_; }
  [[nodiscard]] const Eigen::MatrixXd& covariance() const { return covariance_; }

  /// RMS of the residuals within kOutlier_sigmas, log light.
  [[nodiscard]] double rms() const {
    double sum = 0;
    int count = 0;
    std::size_t next = 0;
    for (const LightPoint& point : points_) {
      for (const LightSample& sight : point) {
        const double rest = residuals_[next++];
        if (point.size() < 2 || std::abs(rest) > kOutlier_sigmas * spread_ * sight.sigma) continue;
        sum += rest * rest;
        ++count;
      }
    }
    return count > 0 ? std::sqrt(sum / count) : 0;
  }

 private:
  static std::size_t index(int i) { return static_cast<std::size_t>(i); }
  [[nodiscard]] Eigen::Index at(int shot, int lens) const { return shot * lenses_ + lens; }
  [[nodiscard]] double weight(const LightSample& sight, double residual) const {
    const double far = spread_ > 0 ? residual / (spread_ * sight.sigma * kCauchy) : 0;
    return 1 / ((1 + far * far) * sight.sigma * sight.sigma);
  }

  // Residuals against each point's own albedo, which is the weighted mean of what its sights say.
  void update_residuals() {
    std::vector<double> before = std::move(residuals_);
    residuals_.clear();
    std::vector<double> whitened;
    for (const LightPoint& point : points_) {
      const std::size_t first = residuals_.size();
      double sum = 0;
      double weights = 0;
      for (std::size_t i = 0; i < point.size(); ++i) {
        const LightSample& sight = point[i];
        const double light = std::log(sight.light[index(colour_)]) -
                             std::log(brightness(profile_[index(sight.lens)], sight.r_hat)) -
                             log_gain(sight.shot, sight.lens);
        const double w = weight(sight, before.empty() ? 0 : before[first + i]);
        residuals_.push_back(light);
        sum += w * light;
        weights += w;
      }
      // A mean takes part of every deviation with it.
      const auto count = static_cast<double>(point.size());
      const double shrunk = count > 1 ? std::sqrt((count - 1) / count) : 1;
      for (std::size_t i = 0; i < point.size(); ++i) {
        residuals_[first + i] -= sum / weights;
        if (count > 1) whitened.push_back(residuals_[first + i] / (point[i].sigma * shrunk));
      }
    }
    spread_ = std::max(1e-4, robust_sigma(std::move(whitened), 0));
  }

  [[nodiscard]] int unknowns() const {
    return (free_profile_ ? kProfileTerms * lenses_ : 0) + shots_ * lenses_;
  }

  // One Gauss–Newton step, every point's albedo eliminated; returns its size.
  double step() {
    const int gains_at = free_profile_ ? kProfileTerms * lenses_ : 0;
    Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(unknowns(), unknowns());
    Eigen::VectorXd right = Eigen::VectorXd::Zero(unknowns());
    std::size_t next = 0;
    for (const LightPoint& point : points_) {
      const auto count = static_cast<Eigen::Index>(point.size());
      Eigen::MatrixXd rows = Eigen::MatrixXd::Zero(count, unknowns());
      Eigen::VectorXd weights(count);
      Eigen::VectorXd rest(count);
      for (Eigen::Index i = 0; i < count; ++i) {
        const LightSample& sight = point[static_cast<std::size_t>(i)];
        rest[i] = residuals_[next++];
        weights[i] = weight(sight, rest[i]) / (spread_ * spread_);
        rows(i, gains_at + at(sight.shot, sight.lens)) = 1;
        if (!free_profile_) continue;
        rows.block<1, kProfileTerms>(i, kProfileTerms * sight.lens) =
            powers(sight.r_hat).transpose() / brightness(profile_[index(sight.lens)], sight.r_hat);
      }
      if (count < 2) continue;
      const Eigen::RowVectorXd mean = weights.transpose() * rows / weights.sum();
      rows.rowwise() -= mean;
      normal.noalias() += rows.transpose() * weights.asDiagonal() * rows;
      right.noalias() += rows.transpose() * (weights.cwiseProduct(rest));
    }
    add_priors(normal, right, gains_at);
    const SymmetricFactor factor(normal);
    const Eigen::VectorXd move = factor.solve(right);
    for (int lens = 0; free_profile_ && lens < lenses_; ++lens) {
      profile_[index(lens)] += move.segment<kProfileTerms>(kProfileTerms * lens);
    }
    log_gain_ += move.tail(shots_ * lenses_);
    if (free_profile_) {
      covariance_ = factor.inverse().topLeftCorner(gains_at, gains_at);
    }
    return move.norm();
  }

  // Terms near the start; lenses of one make near each other; gains only softly.
  void add_priors(Eigen::MatrixXd& normal, Eigen::VectorXd& right, int gains_at) const {
    const double gain_information = 1 / (kGainSigma * kGainSigma);
    for (Eigen::Index i = 0; i < log_gain_.size(); ++i) {
      normal(gains_at + i, gains_at + i) += gain_information;
      right[gains_at + i] -= gain_information * log_gain_[i];
    }
    if (!free_profile_) return;
    const double start_information = 1 / (options_.prior_sigma * options_.prior_sigma);
    const double piece_information = start_information / (kPieceShare * kPieceShare);
    for (int term = 0; term < kProfileTerms; ++term) {
      double mean = 0;
      for (int lens = 0; lens < lenses_; ++lens) mean += away(lens, term) / lenses_;
      for (int a = 0; a < lenses_; ++a) {
        const int row = kProfileTerms * a + term;
        normal(row, row) += start_information + piece_information;
        for (int b = 0; b < lenses_; ++b) {
          normal(row, kProfileTerms * b + term) -= piece_information / lenses_;
        }
        right[row] -=
            start_information * away(a, term) + piece_information * (away(a, term) - mean);
      }
    }
  }
  [[nodiscard]] double away(int lens, int term) const {
    return profile_[index(lens)][term] - start_[index(lens)][term];
  }

  std::span<const LightPoint> points_;
  int lenses_;
  int shots_;
  PhotometricOptions options_;
  std::vector<Eigen::Vector3d> start_;
  std::vector<Eigen::Vector3d> profile_;
  Eigen::VectorXd log_gain_;
  std::vector<double> residuals_;  // one a sight, in the order of the points
  double spread_ = 0;
  Eigen::MatrixXd covariance_;
  int colour_ = kGreen;
  bool free_profile_ = true;
  int sights_ = 0;
};

// 1σ of V(r̂), relative.
double profile_sigma(const Eigen::Vector3d& terms, const Eigen::Matrix3d& covariance,
                     double r_hat) {
  const Eigen::Vector3d row = powers(r_hat) / brightness(terms, r_hat);
  return std::sqrt(std::max(0.0, row.dot(covariance * row)));
}

int wide_points(std::span<const LightPoint> points, int lens) {
  int count = 0;
  for (const LightPoint& point : points) {
    const bool wide = std::any_of(point.begin(), point.end(), [&](const LightSample& own) {
      return own.lens == lens && std::any_of(point.begin(), point.end(), [&](const auto& other) {
               return std::abs(other.r_hat - own.r_hat) > kWideApart;
             });
    });
    if (wide) ++count;
  }
  return count;
}

void judge_profile(const Problem& problem, int lens, const PhotometricOptions& options,
                   LensPhotometry& result) {
  const Eigen::Matrix3d covariance = problem.covariance().block<kProfileTerms, kProfileTerms>(
      kProfileTerms * lens, kProfileTerms * lens);
  const Eigen::Vector3d& terms = problem.profile(lens);
  result.rim_sigma = profile_sigma(terms, covariance, 1);
  for (double r_hat = 0.05; r_hat <= 1; r_hat += 0.05) {
    result.largest_sigma = std::max(result.largest_sigma, profile_sigma(terms, covariance, r_hat));
  }
  bool bright = true;
  for (double r_hat = 0; r_hat <= 1; r_hat += 0.01) {
    bright = bright && 1 + terms.dot(powers(r_hat)) > 0.05;
  }
  result.learned = result.wide_points >= options.minimum_points &&
                   result.largest_sigma < options.max_sigma && bright;
}

void read_gains(const Problem& problem, std::span<const LightPoint> points, int shots, int colour,
                PhotometricFit& fit) {
  const auto c = static_cast<std::size_t>(colour);
  const auto lenses = static_cast<int>(fit.lenses.size());
  std::vector<int> seen(static_cast<std::size_t>(shots * lenses), 0);
  for (const LightPoint& point : points) {
    for (const LightSample& sight : point) {
      ++seen[static_cast<std::size_t>(sight.shot * lenses + sight.lens)];
    }
  }
  const auto well_seen = [&](int shot, int lens) {
    return seen[static_cast<std::size_t>(shot * lenses + lens)] >= 8;
  };
  for (int lens = 1; lens < lenses; ++lens) {
    std::vector<double> ratios;
    for (int shot = 0; shot < shots; ++shot) {
      if (!well_seen(shot, 0) || !well_seen(shot, lens)) continue;
      ratios.push_back((problem.log_gain(shot, lens) - problem.log_gain(shot, 0)) / std::log(2.0));
    }
    const auto l = static_cast<std::size_t>(lens);
    fit.gain_ev[l][c] = median(ratios);
    fit.gain_spread_ev[l][c] = robust_sigma(ratios, fit.gain_ev[l][c]);
  }
}

}  // namespace

std::optional<LightSample> measure_light(const LightPlanes& planes, const Lens& lens,
                                         const Vec2& px, const PhotometricOptions& options) {
  const int reach = options.patch_px / 2;
  if (!planes.whole(px, reach)) return std::nullopt;
  LightSample sight;
  sight.r_hat = (px - lens.centre_px()).norm() / lens.rim_radius_px();
  // The patch's outer half must still be inside the field.
  if (sight.r_hat + (reach + 1) / lens.rim_radius_px() > 1) return std::nullopt;
  const int x0 = static_cast<int>(px.x()) - reach;
  const int y0 = static_cast<int>(px.y()) - reach;
  const int count = options.patch_px * options.patch_px;
  for (std::size_t c = 0; c < 3; ++c) {
    const Image& plane = planes.colours[std::min(c, planes.colours.size() - 1)];
    double sum = 0;
    double squares = 0;
    for (int y = y0; y < y0 + options.patch_px; ++y) {
      const auto row = plane.row<float>(y).subspan(static_cast<std::size_t>(x0),
                                                   static_cast<std::size_t>(options.patch_px));
      for (const float light : row) {
        sum += static_cast<double>(light);
        squares += static_cast<double>(light) * static_cast<double>(light);
      }
    }
    const double mean = sum / count;
    if (mean < options.darkest) return std::nullopt;
    sight.light[c] = mean;
    const double roughness = std::sqrt(std::max(0.0, squares / count - mean * mean)) / mean;
    if (roughness > options.roughest) return std::nullopt;
    if (c == kGreen) {
      sight.sigma = std::hypot(options.sigma_floor, options.roughness_share * roughness);
    }
  }
  return sight;
}

PhotometricFit fit_photometry(std::span<const LightPoint> points, int shots, const Rig& start,
                              const PhotometricOptions& options) {
  PhotometricFit fit;
  const int lenses = start.lens_count();
  fit.lenses.resize(start.lenses.size());
  fit.gain_ev.resize(start.lenses.size());
  fit.gain_spread_ev.resize(start.lenses.size());
  for (const LightPoint& point : points) {
    if (point.size() < 2) continue;
    ++fit.points;
    fit.sights += static_cast<int>(point.size());
  }
  for (int lens = 0; lens < lenses; ++lens) {
    LensPhotometry& result = fit.lenses[static_cast<std::size_t>(lens)];
    result.vignetting = start.lenses[static_cast<std::size_t>(lens)].lens.vignetting;
    result.wide_points = wide_points(points, lens);
  }
  if (fit.points == 0) return fit;
  Problem problem(points, shots, start, options);
  problem.solve(kGreen, true);
  fit.covariance = problem.covariance();
  bool all_learned = true;
  for (int lens = 0; lens < lenses; ++lens) {
    LensPhotometry& result = fit.lenses[static_cast<std::size_t>(lens)];
    judge_profile(problem, lens, options, result);
    all_learned = all_learned && result.learned;
  }
  for (int lens = 0; lens < lenses; ++lens) {
    LensPhotometry& result = fit.lenses[static_cast<std::size_t>(lens)];
    // One lens' gain at the rim leans on the other's profile: all of them or none.
    result.learned = all_learned;
    if (!all_learned) problem.hold_at_start(lens);
    const Eigen::Vector3d& terms = problem.profile(lens);
    result.vignetting = {terms[0], terms[1], terms[2]};
  }
  for (const int colour : {0, 2, kGreen}) {
    problem.solve(colour, false);
    read_gains(problem, points, shots, colour, fit);
  }
  fit.spread = problem.spread();
  fit.rms = problem.rms();
  return fit;
}

}  // namespace seamwright
