#include "tests/support/ceres_twin.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <deque>

#include <Eigen/Cholesky>
#include <ceres/ceres.h>
#include <ceres/rotation.h>

#include "projection/lens_curves.h"
#include "solver/sight.h"

namespace seamwright::test {

namespace {

/// What every sight's residual needs beside the unknowns.
struct TwinSight {
  LensCurve curve = LensCurve::equidistant;
  TieSight sight{};
  Mat2 white = Mat2::Identity();
  TiePoint start{};
  Eigen::Matrix<double, 3, 2> tangent = Eigen::Matrix<double, 3, 2>::Zero();
  Mat3 lens_from_rig = Mat3::Identity();
  Vec3 first_pupil{0, 0, 0};
  Mat3 world_from_own = Mat3::Identity();
  Mat3 seen_from_world = Mat3::Identity();

  /// Blocks that a sight does not have are null: mount and pupil offset of lens 0, flex where it is
  /// fixed, poses within one shot.
  template <class T>
  bool residual(const T* lens, const T* mount, const T* pupil, const T* flex, const T* own,
                const T* seen, const T* point, T* out) const {
    using V = Eigen::Matrix<T, 3, 1>;
    V ray;
    for (int k = 0; k < 3; ++k) {
      ray[k] = start.direction[k] + tangent(k, 0) * point[0] + tangent(k, 1) * point[1];
    }
    ray.normalize();
    const T& rho = point[2];
    if (own != nullptr) {
      ray = by_vector(own, 1, by_matrix(world_from_own, ray));
      for (int k = 0; k < 3; ++k) ray[k] += rho * (own[3 + k] - seen[3 + k]);
      ray = by_matrix(seen_from_world, by_vector(seen, -1, ray));
    }
    for (int k = 0; k < 3; ++k) ray[k] -= rho * first_pupil[k];
    if (pupil != nullptr) {
      for (int k = 0; k < 3; ++k) ray[k] -= rho * pupil[k];
    }
    if (flex != nullptr) ray = by_vector(flex, -1, ray);
    if (mount != nullptr) ray = by_vector(mount, -1, ray);
    ray = by_matrix(lens_from_rig, ray);
    const Eigen::Matrix<T, 2, 1> px =
        with_curve(curve, [&](auto c) { return project_with<decltype(c)>(lens, ray); });
    const T off_u = px[0] - sight.px[0];
    const T off_v = px[1] - sight.px[1];
    for (int k = 0; k < 2; ++k) out[k] = white(k, 0) * off_u + white(k, 1) * off_v;
    return true;
  }

 private:
  template <class T>
  static Eigen::Matrix<T, 3, 1> by_matrix(const Mat3& m, const Eigen::Matrix<T, 3, 1>& v) {
    Eigen::Matrix<T, 3, 1> result;
    for (int k = 0; k < 3; ++k) result[k] = m(k, 0) * v[0] + m(k, 1) * v[1] + m(k, 2) * v[2];
    return result;
  }
  // exp(sign · turn) v
  template <class T>
  static Eigen::Matrix<T, 3, 1> by_vector(const T* turn, double sign,
                                          const Eigen::Matrix<T, 3, 1>& v) {
    const T signed_turn[3] = {sign * turn[0], sign * turn[1], sign * turn[2]};
    Eigen::Matrix<T, 3, 1> result;
    ceres::AngleAxisRotatePoint(signed_turn, v.data(), result.data());
    return result;
  }
};

// One functor for every set of blocks, so that no derivative is taken that is not needed.
struct TwinFirst : TwinSight {
  template <class T>
  bool operator()(const T* lens, const T* point, T* out) const {
    return residual<T>(lens, nullptr, nullptr, nullptr, nullptr, nullptr, point, out);
  }
};
struct TwinSecond : TwinSight {
  template <class T>
  bool operator()(const T* lens, const T* mount, const T* pupil, const T* point, T* out) const {
    return residual<T>(lens, mount, pupil, nullptr, nullptr, nullptr, point, out);
  }
};
struct TwinSecondFlexed : TwinSight {
  template <class T>
  bool operator()(const T* lens, const T* mount, const T* pupil, const T* flex, const T* point,
                  T* out) const {
    return residual<T>(lens, mount, pupil, flex, nullptr, nullptr, point, out);
  }
};
struct TwinFirstTracked : TwinSight {
  template <class T>
  bool operator()(const T* lens, const T* own, const T* seen, const T* point, T* out) const {
    return residual<T>(lens, nullptr, nullptr, nullptr, own, seen, point, out);
  }
};
struct TwinSecondTracked : TwinSight {
  template <class T>
  bool operator()(const T* lens, const T* mount, const T* pupil, const T* own, const T* seen,
                  const T* point, T* out) const {
    return residual<T>(lens, mount, pupil, nullptr, own, seen, point, out);
  }
};
struct TwinSecondFlexedTracked : TwinSight {
  template <class T>
  bool operator()(const T* lens, const T* mount, const T* pupil, const T* flex, const T* own,
                  const T* seen, const T* point, T* out) const {
    return residual<T>(lens, mount, pupil, flex, own, seen, point, out);
  }
};

/// √P (x ⊖ x₀) in the order of all_rig_terms(2).
struct TwinPrior {
  static constexpr int kRows = 2 * kLensTermCount + 6;
  Eigen::MatrixXd root;
  Rig reference;
  Quat mount_start = Quat::Identity();
  Vec3 first_pupil{0, 0, 0};

  template <class T>
  bool operator()(const T* first, const T* second, const T* mount, const T* pupil, T* out) const {
    Eigen::Matrix<T, kRows, 1> off;
    for (int k = 0; k < kLensTermCount; ++k) {
      const auto i = static_cast<std::size_t>(k);
      off[k] = first[k] - reference.lenses[0].lens.terms[i];
      off[kLensTermCount + k] = second[k] - reference.lenses[1].lens.terms[i];
    }
    const Quat rest = mount_start * reference.lenses[1].rig_from_lens.conjugate();
    const T base[4] = {T(rest.w()), T(rest.x()), T(rest.y()), T(rest.z())};
    T turn[4];
    T both[4];
    ceres::AngleAxisToQuaternion(mount, turn);
    ceres::QuaternionProduct(turn, base, both);
    ceres::QuaternionToAngleAxis(both, off.data() + kRotationX + kLensTermCount);
    for (int k = 0; k < 3; ++k) {
      off[kRows - 3 + k] = first_pupil[k] + pupil[k] - reference.lenses[1].pupil[k];
    }
    Eigen::Map<Eigen::Matrix<T, kRows, 1>> whitened(out);
    for (int i = 0; i < kRows; ++i) {
      whitened[i] = T(0);
      for (int k = i; k < kRows; ++k) {
        if (root(i, k) != 0) whitened[i] += root(i, k) * off[k];
      }
    }
    return true;
  }
};

/// Zero-mean prior of flex.
struct TwinFlexPrior {
  double sigma_rad = 1;
  template <class T>
  bool operator()(const T* flex, T* out) const {
    for (int k = 0; k < 3; ++k) out[k] = flex[k] / sigma_rad;
    return true;
  }
};

/// min(0, ρ) / σ_0.
struct TwinDepthFloor {
  double sigma_per_m = 1;
  template <class T>
  bool operator()(const T* point, T* out) const {
    out[0] = point[2] < T(0) ? point[2] / sigma_per_m : T(0);
    return true;
  }
};

/// ρ / σ of a tie marked far.
struct TwinFar {
  double sigma_per_m = 1;
  template <class T>
  bool operator()(const T* point, T* out) const {
    out[0] = point[2] / sigma_per_m;
    return true;
  }
};

}  // namespace

class CeresTwin::Problem {
 public:
  Problem(const Rig& start, std::span<const Tie> ties, std::vector<ShotState> shots,
          const SharedPrior& prior, const AdjustOptions& options)
      : start_(start), shots_(std::move(shots)), options_(options) {
    for (std::size_t i = 0; i < 2; ++i) lenses_[i] = start.lenses[i].lens.terms;
    pupil_ = start.lenses[1].pupil - start.lenses[0].pupil;
    for (const ShotState& shot : shots_) {
      poses_.push_back(
          {0, 0, 0, shot.pose.position.x(), shot.pose.position.y(), shot.pose.position.z()});
      flex_.emplace_back(Vec3::Zero());
    }
    if (options.robust_scale > 0) loss_ = new ceres::CauchyLoss(options.robust_scale);
    for (const Tie& tie : ties) add_tie(tie);
    add_priors(prior);
    hold_gauge();
  }

  int solve(double function_tolerance, int max_iterations) {
    ceres::Solver::Options solving;
    solving.linear_solver_type = ceres::DENSE_SCHUR;
    solving.num_threads = 1;
    solving.max_num_iterations = max_iterations;
    solving.function_tolerance = function_tolerance;
    solving.gradient_tolerance = 0;
    solving.parameter_tolerance = 0;
    solving.logging_type = ceres::SILENT;
    auto ordering = std::make_shared<ceres::ParameterBlockOrdering>();
    std::vector<double*> blocks;
    problem_.GetParameterBlocks(&blocks);
    for (double* block : blocks) ordering->AddElementToGroup(block, 1);
    for (auto& point : points_) {
      if (problem_.HasParameterBlock(point.data())) ordering->AddElementToGroup(point.data(), 0);
    }
    solving.linear_solver_ordering = ordering;
    ceres::Solver::Summary summary;
    ceres::Solve(solving, &problem_, &summary);
    return summary.IsSolutionUsable() ? static_cast<int>(summary.iterations.size()) - 1 : -1;
  }

  [[nodiscard]] double cost() {
    double half = 0;
    problem_.Evaluate({}, &half, nullptr, nullptr, nullptr);
    return 2 * half;
  }

  [[nodiscard]] Rig rig() const {
    Rig rig = start_;
    for (std::size_t i = 0; i < 2; ++i) rig.lenses[i].lens.terms = lenses_[i];
    rig.lenses[1].rig_from_lens = quat_from_rotation_vector(mount_) * rig.lenses[1].rig_from_lens;
    rig.lenses[1].pupil = rig.lenses[0].pupil + pupil_;
    return rig;
  }
  [[nodiscard]] std::vector<ShotState> shots() const {
    std::vector<ShotState> shots = shots_;
    for (std::size_t i = 0; i < shots.size(); ++i) {
      const std::array<double, 6>& pose = poses_[i];
      shots[i].pose.world_from_rig =
          quat_from_rotation_vector({pose[0], pose[1], pose[2]}) * shots[i].pose.world_from_rig;
      shots[i].pose.position = Vec3(pose[3], pose[4], pose[5]);
      if (options_.free_flex) shots[i].flex = {Vec3::Zero(), flex_[i]};
    }
    return shots;
  }

  [[nodiscard]] Eigen::MatrixXd covariance() {
    const std::vector<std::pair<double*, int>> blocks = {{lenses_[0].data(), kLensTermCount},
                                                         {lenses_[1].data(), kLensTermCount},
                                                         {mount_.data(), 3},
                                                         {pupil_.data(), 3}};
    std::vector<std::pair<const double*, const double*>> pairs;
    for (std::size_t a = 0; a < blocks.size(); ++a) {
      for (std::size_t b = a; b < blocks.size(); ++b) {
        pairs.emplace_back(blocks[a].first, blocks[b].first);
      }
    }
    ceres::Covariance::Options computing;
    computing.algorithm_type = ceres::SPARSE_QR;
    ceres::Covariance covariance(computing);
    if (!covariance.Compute(pairs, &problem_)) return {};
    Eigen::MatrixXd all(TwinPrior::kRows, TwinPrior::kRows);
    int row = 0;
    for (const auto& [a, height] : blocks) {
      int column = 0;
      for (const auto& [b, width] : blocks) {
        Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor> part(height, width);
        covariance.GetCovarianceBlock(a, b, part.data());
        all.block(row, column, height, width) = part;
        column += width;
      }
      row += height;
    }
    return all;
  }

 private:
  void add_tie(const Tie& tie) {
    const TiePoint start = locate_tie(start_, tie, true, shots_);
    points_.push_back({0, 0, start.inverse_depth});
    if (!start.usable) return;
    double* point = points_.back().data();
    for (const TieSight& sight : tie.sights) add_sight(tie, sight, start, point);
    if (tie.range == TieRange::far) {
      problem_.AddResidualBlock(
          new ceres::AutoDiffCostFunction<TwinFar, 1, 3>(new TwinFar{options_.far_sigma_per_m}),
          nullptr, point);
    }
    if (options_.depth_floor_sigma_per_m > 0) {
      problem_.AddResidualBlock(new ceres::AutoDiffCostFunction<TwinDepthFloor, 1, 3>(
                                    new TwinDepthFloor{options_.depth_floor_sigma_per_m}),
                                nullptr, point);
    }
  }

  void add_sight(const Tie& tie, const TieSight& sight, const TiePoint& start, double* point) {
    const auto own = static_cast<std::size_t>(tie.shot);
    const auto seen = static_cast<std::size_t>(tie.shot_of(sight));
    const auto index = static_cast<std::size_t>(sight.lens);
    const MountedLens& mounted = start_.lenses[index];
    const TwinSight common{mounted.lens.curve,
                           sight,
                           whitener(sight.covariance_px2),
                           start,
                           tangent_basis(start.direction),
                           mounted.rig_from_lens.conjugate().toRotationMatrix(),
                           start_.lenses[0].pupil,
                           shots_[own].pose.world_from_rig.toRotationMatrix(),
                           shots_[seen].pose.world_from_rig.conjugate().toRotationMatrix()};
    double* lens = lenses_[index].data();
    double* mount = mount_.data();
    double* pupil = pupil_.data();
    double* flex = flex_[seen].data();
    double* from = poses_[own].data();
    double* to = poses_[seen].data();
    constexpr int kTerms = kLensTermCount;
    const bool tracked = own != seen;
    if (sight.lens == 0 && !tracked) {
      problem_.AddResidualBlock(
          new ceres::AutoDiffCostFunction<TwinFirst, 2, kTerms, 3>(new TwinFirst{common}), loss_,
          lens, point);
    } else if (sight.lens == 0) {
      problem_.AddResidualBlock(
          new ceres::AutoDiffCostFunction<TwinFirstTracked, 2, kTerms, 6, 6, 3>(
              new TwinFirstTracked{common}),
          loss_, lens, from, to, point);
    } else if (!tracked && !options_.free_flex) {
      problem_.AddResidualBlock(
          new ceres::AutoDiffCostFunction<TwinSecond, 2, kTerms, 3, 3, 3>(new TwinSecond{common}),
          loss_, lens, mount, pupil, point);
    } else if (!tracked) {
      problem_.AddResidualBlock(
          new ceres::AutoDiffCostFunction<TwinSecondFlexed, 2, kTerms, 3, 3, 3, 3>(
              new TwinSecondFlexed{common}),
          loss_, lens, mount, pupil, flex, point);
    } else if (!options_.free_flex) {
      problem_.AddResidualBlock(
          new ceres::AutoDiffCostFunction<TwinSecondTracked, 2, kTerms, 3, 3, 6, 6, 3>(
              new TwinSecondTracked{common}),
          loss_, lens, mount, pupil, from, to, point);
    } else {
      problem_.AddResidualBlock(
          new ceres::AutoDiffCostFunction<TwinSecondFlexedTracked, 2, kTerms, 3, 3, 3, 6, 6, 3>(
              new TwinSecondFlexedTracked{common}),
          loss_, lens, mount, pupil, flex, from, to, point);
    }
  }

  void add_priors(const SharedPrior& prior) {
    const Eigen::MatrixXd root = prior.information.llt().matrixU();
    problem_.AddResidualBlock(
        new ceres::AutoDiffCostFunction<TwinPrior, TwinPrior::kRows, kLensTermCount, kLensTermCount,
                                        3, 3>(new TwinPrior{
            root, prior.reference, start_.lenses[1].rig_from_lens, start_.lenses[0].pupil}),
        nullptr, lenses_[0].data(), lenses_[1].data(), mount_.data(), pupil_.data());
    if (!options_.free_flex) return;
    for (Vec3& flex : flex_) {
      problem_.AddResidualBlock(new ceres::AutoDiffCostFunction<TwinFlexPrior, 3, 3>(
                                    new TwinFlexPrior{options_.flex_sigma_rad}),
                                nullptr, flex.data());
    }
  }

  // The baseline keeps its length, and the first shot of a network its place.
  void hold_gauge() {
    problem_.SetManifold(pupil_.data(), new ceres::SphereManifold<3>);
    std::vector<int> begun;
    for (std::size_t i = 0; i < shots_.size(); ++i) {
      const int network = shots_[i].pose.network;
      if (network == kNoNetwork) continue;
      if (std::find(begun.begin(), begun.end(), network) != begun.end()) continue;
      begun.push_back(network);
      if (problem_.HasParameterBlock(poses_[i].data())) {
        problem_.SetParameterBlockConstant(poses_[i].data());
      }
    }
  }

  Rig start_;
  std::vector<ShotState> shots_;
  AdjustOptions options_;
  std::array<std::array<double, kLensTermCount>, 2> lenses_{};
  Vec3 mount_{0, 0, 0};
  Vec3 pupil_{0, 0, 0};
  std::deque<Vec3> flex_;
  std::deque<std::array<double, 6>> poses_;
  std::deque<std::array<double, 3>> points_;  // a deque: blocks keep their address
  ceres::LossFunction* loss_ = nullptr;       // owned by the problem
  ceres::Problem problem_;
};

CeresTwin::CeresTwin(const Rig& start, std::span<const Tie> ties,
                     const std::vector<ShotState>& shots, const SharedPrior& prior,
                     const AdjustOptions& options)
    : problem_(std::make_unique<Problem>(start, ties, shots, prior, options)) {}
CeresTwin::~CeresTwin() = default;

std::string CeresTwin::version() { return CERES_VERSION_STRING; }
int CeresTwin::solve(double function_tolerance, int max_iterations) {
  return problem_->solve(function_tolerance, max_iterations);
}
double CeresTwin::cost() const { return problem_->cost(); }
Rig CeresTwin::rig() const { return problem_->rig(); }
std::vector<ShotState> CeresTwin::shots() const { return problem_->shots(); }
Eigen::MatrixXd CeresTwin::covariance() const { return problem_->covariance(); }

}  // namespace seamwright::test
