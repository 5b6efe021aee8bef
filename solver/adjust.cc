#include "solver/adjust.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <deque>
#include <limits>

#include <ceres/crs_matrix.h>
#include <ceres/evaluation_callback.h>
#include <ceres/iteration_callback.h>
#include <ceres/manifold.h>
#include <ceres/normal_prior.h>
#include <ceres/problem.h>
#include <ceres/solver.h>

#include "base/parallel.h"
#include "solver/adjustment_parts.h"
#include "solver/quiet_log.h"
#include "solver/symmetric.h"
#include "solver/unknowns.h"

namespace seamwright {

namespace {

// How one block moves. All derivatives are by its steps, and it has as many numbers as steps.
class Steps final : public ceres::Manifold {
 public:
  Steps(const Unknowns& unknowns, const Unknowns::Block& block)
      : unknowns_(unknowns), block_(block) {}

  [[nodiscard]] int AmbientSize() const override { return block_.size; }
  [[nodiscard]] int TangentSize() const override { return block_.size; }
  bool Plus(const double* x, const double* step, double* moved) const override {
    unknowns_.step(block_, x, step, moved);
    return true;
  }
  bool PlusJacobian(const double* /*x*/, double* jacobian) const override {
    Eigen::Map<Rows>(jacobian, block_.size, block_.size).setIdentity();
    return true;
  }
  // Nothing in a solve asks for the way back.
  bool Minus(const double* /*y*/, const double* /*x*/, double* /*step*/) const override {
    return false;
  }
  bool MinusJacobian(const double* /*x*/, double* /*jacobian*/) const override { return false; }

 private:
  const Unknowns& unknowns_;
  Unknowns::Block block_;
};

// Rows that were computed before Ceres asks.
class ComputedCost final : public ceres::CostFunction {
 public:
  ComputedCost(const Rows& rows, const std::vector<int>& widths) : rows_(rows) {
    set_num_residuals(static_cast<int>(rows.rows()));
    *mutable_parameter_block_sizes() = widths;
  }

  // False where a row is not a number: Ceres then takes the step for a failed one.
  bool Evaluate(const double* const* /*parameters*/, double* residuals,
                double** jacobians) const override {
    Eigen::Map<Eigen::VectorXd>(residuals, rows_.rows()) = rows_.rightCols<1>();
    if (jacobians == nullptr) return rows_.rightCols<1>().allFinite();
    Eigen::Index column = 0;
    for (std::size_t k = 0; k < parameter_block_sizes().size(); ++k) {
      const int width = parameter_block_sizes()[k];
      if (jacobians[k] != nullptr) {
        Eigen::Map<Rows>(jacobians[k], rows_.rows(), width) = rows_.middleCols(column, width);
      }
      column += width;
    }
    return rows_.allFinite();
  }

 private:
  const Rows& rows_;
};

// Progress, and the way to stop.
class Teller final : public ceres::IterationCallback {
 public:
  Teller(const ProgressFn& progress, int most) : progress_(progress), most_(most) {}
  ceres::CallbackReturnType operator()(const ceres::IterationSummary& summary) override {
    const double done = static_cast<double>(summary.iteration) / most_;
    return tell(progress_, "solving", std::min(1.0, done)) ? ceres::SOLVER_CONTINUE
                                                           : ceres::SOLVER_ABORT;
  }

 private:
  const ProgressFn& progress_;
  int most_;
};

// Derivative of log(exp(δ) exp(φ)) by δ at 0: the inverse of the left Jacobian of the rotation
// group (Barfoot 2017, State Estimation for Robotics, 7.1.4).
Mat3 inverse_left_jacobian(const Vec3& rotation_rad) {
  Mat3 cross;
  cross << 0, -rotation_rad.z(), rotation_rad.y(),  //
      rotation_rad.z(), 0, -rotation_rad.x(),       //
      -rotation_rad.y(), rotation_rad.x(), 0;
  const double angle = rotation_rad.norm();
  constexpr double kSmall_rad = 1e-4;  // below it, the next term of the series is 1e-18
  const double square =
      angle < kSmall_rad
          ? 1.0 / 12
          : 1 / (angle * angle) - (1 + std::cos(angle)) / (2 * angle * std::sin(angle));
  return Mat3::Identity() - 0.5 * cross + square * cross * cross;
}

// Prior of the shared terms, and the spring that holds the length of the first baseline.
class SharedRows {
 public:
  SharedRows(const SharedTerms& terms, const std::optional<SharedPrior>& prior, bool holds_baseline)
      : terms_(terms), prior_(prior), holds_baseline_(holds_baseline) {
    if (prior_) root_ = symmetric_root(prior_->information);
    rows_ = Rows::Zero(root_.rows() + (holds_baseline ? 1 : 0), terms.columns() + 1);
  }

  void evaluate(const Rig& rig) {
    const int columns = terms_.columns();
    if (prior_) {
      rows_.topLeftCorner(columns, columns) = root_;
      rows_.col(columns).head(columns) = root_ * terms_.difference(rig, prior_->reference);
      for (int lens = 1; lens < terms_.lens_count(); ++lens) turn(rig, lens);
    }
    if (!holds_baseline_) return;
    constexpr double kSpringSigma = 1e-4;  // of the baseline
    const Vec3 baseline = rig.baseline(0, 1);
    rows_.bottomRows<1>().segment<3>(terms_.column(1, kPupilX)) =
        baseline.transpose() / (kSpringSigma * baseline.squaredNorm());
  }
  [[nodiscard]] const Rows& rows() const { return rows_; }

 private:
  void turn(const Rig& rig, int lens) {
    const int column = terms_.column(lens, kRotationX);
    if (column < 0) return;
    assert(terms_.column(lens, kRotationZ) == column + 2);  // all of a rotation or nothing
    const auto i = static_cast<std::size_t>(lens);
    const Vec3 off = rotation_vector_from_quat(
        rig.lenses[i].rig_from_lens * prior_->reference.lenses[i].rig_from_lens.conjugate());
    rows_.topRows(root_.rows()).middleCols<3>(column) =
        root_.middleCols<3>(column) * inverse_left_jacobian(off);
  }

  const SharedTerms& terms_;
  const std::optional<SharedPrior>& prior_;
  bool holds_baseline_;
  Eigen::MatrixXd root_;
  Rows rows_;
};

StopReason reason_of(const ceres::Solver::Summary& summary) {
  switch (summary.termination_type) {
    case ceres::CONVERGENCE:
    case ceres::USER_SUCCESS:
      return StopReason::converged;
    case ceres::NO_CONVERGENCE:
      return StopReason::iteration_limit;
    case ceres::USER_FAILURE:
      return StopReason::cancelled;
    case ceres::FAILURE:
      break;
  }
  return StopReason::no_descent;
}

std::vector<TiePoint> located(const AdjustProblem& problem) {
  std::vector<TiePoint> points(problem.ties.size());
  constexpr int kTogether = 64;
  const auto count = static_cast<int>(points.size());
  parallel_for(0, (count + kTogether - 1) / kTogether, [&](int part) {
    for (int i = part * kTogether; i < std::min(count, (part + 1) * kTogether); ++i) {
      const auto k = static_cast<std::size_t>(i);
      if (!problem.use.empty() && problem.use[k] == 0) continue;
      points[k] = locate_tie(problem.start, problem.ties[k], true, problem.shots);
    }
  });
  return points;
}

// The problem as Ceres sees it. Residual blocks:
//
//     a part of the ties or lines     its packed rows                shared terms, its shots
//     prior and baseline              rows of the prior, one more    shared terms
//     prior of flex                   three a lens                   a shot
class Adjustment final : public ceres::EvaluationCallback {
 public:
  Adjustment(const AdjustProblem& problem, const AdjustOptions& options)
      : options_(options),
        unknowns_(problem.start, problem.shots, problem.terms, options.free_flex),
        parts_(problem, options, located(problem), unknowns_.sizes()),
        shared_(problem.terms, problem.prior, unknowns_.holds_baseline()),
        problem_(without_ownership(this)) {
    for (const Unknowns::Block& block : unknowns_.blocks()) {
      manifolds_.emplace_back(unknowns_, block);
      problem_.AddParameterBlock(unknowns_.at(block), block.size, &manifolds_.back());
    }
    for (const AdjustmentParts::Part& part : parts_.parts()) {
      std::vector<int> shots_of_part;
      for (const ShotColumns& shot : part.columns.shots) shots_of_part.push_back(shot.shot);
      add(part.rows, shots_of_part);
    }
    if (shared_.rows().rows() > 0) add(shared_.rows(), {});
    for (const Unknowns::Block& block : unknowns_.blocks()) {
      if (block.flex > 0) add_flex_prior(block);
    }
  }

  AdjustResult run(const ProgressFn& progress) {
    const QuietLog quiet;
    AdjustResult result;
    const ceres::Solver::Summary summary = solve(progress);
    constexpr double kNever = std::numeric_limits<double>::infinity();
    result.initial_cost = 2 * summary.initial_cost;
    result.final_cost = summary.initial_cost >= 0 ? 2 * summary.final_cost : kNever;
    result.stop = reason_of(summary);
    result.iterations = std::max(0, static_cast<int>(summary.iterations.size()) - 1);
    if (options_.with_covariance) find_covariance(result);
    result.rig = unknowns_.rig();
    result.shots = unknowns_.shots();
    result.points = parts_.points();
    result.line_normals = parts_.line_normals();
    return result;
  }

  void PrepareForEvaluation(bool evaluate_jacobians, bool new_evaluation_point) override {
    const Rig rig = unknowns_.rig();
    parts_.evaluate(rig, unknowns_.shots(), evaluate_jacobians, !new_evaluation_point);
    shared_.evaluate(rig);
  }

 private:
  static ceres::Problem::Options without_ownership(ceres::EvaluationCallback* callback) {
    ceres::Problem::Options options;
    options.cost_function_ownership = ceres::DO_NOT_TAKE_OWNERSHIP;
    options.manifold_ownership = ceres::DO_NOT_TAKE_OWNERSHIP;
    options.evaluation_callback = callback;
    return options;
  }

  void add(const Rows& rows, const std::vector<int>& shots) {
    std::vector<double*> blocks;
    std::vector<int> widths;
    for (const Unknowns::Block& block : unknowns_.blocks()) {
      if (block.shot != Unknowns::kShared &&
          std::find(shots.begin(), shots.end(), block.shot) == shots.end()) {
        continue;
      }
      blocks.push_back(unknowns_.at(block));
      widths.push_back(block.size);
    }
    costs_.emplace_back(rows, widths);
    problem_.AddResidualBlock(&costs_.back(), nullptr, blocks);
  }

  // A rotation vector is an eigenvector of its own derivative: the gradient is exact although the
  // derivative is taken for one.
  void add_flex_prior(const Unknowns::Block& block) {
    ceres::Matrix rows = ceres::Matrix::Zero(block.flex, block.size);
    rows.leftCols(block.flex).setIdentity();
    flex_priors_.emplace_back(rows / options_.flex_sigma_rad, ceres::Vector::Zero(block.size));
    problem_.AddResidualBlock(&flex_priors_.back(), nullptr, unknowns_.at(block));
  }

  ceres::Solver::Summary solve(const ProgressFn& progress) {
    ceres::Solver::Options solving;
    solving.linear_solver_type = ceres::SPARSE_NORMAL_CHOLESKY;
    solving.sparse_linear_algebra_library_type = ceres::EIGEN_SPARSE;
    solving.num_threads = 1;
    solving.max_num_iterations = options_.max_iterations;
    solving.function_tolerance = options_.cost_tolerance;
    solving.gradient_tolerance = 0;
    solving.parameter_tolerance = 0;
    solving.initial_trust_region_radius = 1e6;  // starts are near: first steps are Gauss–Newton's
    solving.logging_type = ceres::SILENT;
    Teller teller(progress, options_.max_iterations);
    solving.callbacks.push_back(&teller);
    ceres::Solver::Summary summary;
    ceres::Solve(solving, &problem_, &summary);
    return summary;
  }

  // From Ceres' Jacobian: its columns are the unknowns in their order.
  void find_covariance(AdjustResult& result) {
    const std::vector<ShotSize>& sizes = unknowns_.sizes();
    result.pose_covariance.assign(sizes.size(), PoseCovariance::Zero());
    ceres::CRSMatrix jacobian;
    problem_.Evaluate({}, nullptr, nullptr, nullptr, &jacobian);
    Eigen::MatrixXd all = symmetric_inverse(normal_of(jacobian));
    if (all.size() == 0) return;
    if (options_.with_shared_noise) all = with_shared_noise(all, result);
    for (const Unknowns::Block& block : unknowns_.blocks()) {
      if (block.shot == Unknowns::kShared) {
        result.covariance = all.topLeftCorner(block.size, block.size);
        continue;
      }
      const auto s = static_cast<std::size_t>(block.shot);
      if (block.flex > 0) {
        result.flex_variance.resize(sizes.size());
        result.flex_variance[s].assign(static_cast<std::size_t>(block.flex / 3 + 1), Vec3::Zero());
      }
      for (int k = 0; k < block.flex; k += 3) {
        result.flex_variance[s][static_cast<std::size_t>(k / 3 + 1)] =
            all.diagonal().segment<3>(block.begin + k);
      }
      if (block.size == block.flex) continue;
      const int pose = block.begin + block.flex;
      result.pose_covariance[s] = all.block<6, 6>(pose, pose);
    }
  }

  Eigen::MatrixXd with_shared_noise(const Eigen::MatrixXd& covariance, AdjustResult& result) const {
    std::vector<std::vector<int>> places;
    for (const AdjustmentParts::Part& part : parts_.parts()) {
      places.push_back(unknowns_.places_of(part.columns));
    }
    const CellRows rows = joined(parts_.cell_rows(unknowns_.rig(), unknowns_.shots()), places,
                                 static_cast<int>(covariance.rows()));
    result.shared_noise = estimate_shared_noise(rows, covariance);
    return widened(covariance, rows, result.shared_noise);
  }

  static Eigen::MatrixXd normal_of(const ceres::CRSMatrix& jacobian) {
    Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(jacobian.num_cols, jacobian.num_cols);
    for (std::size_t row = 0; row + 1 < jacobian.rows.size(); ++row) {
      const auto begin = static_cast<std::size_t>(jacobian.rows[row]);
      const auto end = static_cast<std::size_t>(jacobian.rows[row + 1]);
      for (std::size_t i = begin; i < end; ++i) {
        for (std::size_t k = begin; k < end; ++k) {
          normal(jacobian.cols[i], jacobian.cols[k]) += jacobian.values[i] * jacobian.values[k];
        }
      }
    }
    return normal;
  }

  const AdjustOptions& options_;
  Unknowns unknowns_;
  AdjustmentParts parts_;
  SharedRows shared_;
  std::deque<Steps> manifolds_;
  std::deque<ComputedCost> costs_;
  std::deque<ceres::NormalPrior> flex_priors_;
  ceres::Problem problem_;
};

}  // namespace

std::string_view stop_reason_text(StopReason reason) {
  switch (reason) {
    case StopReason::converged:
      return "converged";
    case StopReason::iteration_limit:
      return "iteration limit";
    case StopReason::no_descent:
      return "no further descent";
    case StopReason::cancelled:
      return "cancelled";
  }
  return "";
}

AdjustResult adjust(AdjustProblem problem, const AdjustOptions& options,
                    const ProgressFn& progress) {
  for (ShotState& shot : problem.shots) {
    if (!options.free_flex) shot.flex.clear();
    if (options.free_flex) shot.flex.resize(problem.start.lenses.size(), Vec3::Zero());
  }
  return Adjustment(problem, options).run(progress);
}

AdjustResult adjust(const Rig& start, std::span<const Tie> ties, int shots,
                    const SharedTerms& terms, const std::optional<SharedPrior>& prior,
                    const AdjustOptions& options) {
  return adjust({.start = start,
                 .ties = ties,
                 .shots = std::vector<ShotState>(static_cast<std::size_t>(shots)),
                 .terms = terms,
                 .prior = prior},
                options);
}

}  // namespace seamwright
