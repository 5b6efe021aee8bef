#include "solver/adjust.h"

#include <algorithm>
#include <cmath>

#include <Eigen/Cholesky>

#include "solver/sight.h"

namespace seamwright {

namespace {

using Flex = std::vector<std::vector<Vec3>>;

// Everything that a step moves.
struct State {
  Rig rig;
  std::vector<TiePoint> points;
  Flex flex;
};

constexpr double kPointDamping = 1e-9;  // keeps a depth that nothing holds from running away
constexpr int kPointSteps = 2;

// A point eliminated from the normal equations, kept for back-substitution.
struct EliminatedPoint {
  Mat3 inverse = Mat3::Zero();
  Vec3 gradient = Vec3::Zero();
  std::vector<int> columns;          // of the reduced system
  Eigen::MatrixXd point_by_columns;  // 3 × columns
};

// The normal equations after the points' elimination, H δ = −g.
struct Reduced {
  Eigen::MatrixXd normal;
  Eigen::VectorXd gradient;
  std::vector<EliminatedPoint> points;
};

class Adjuster {
 public:
  Adjuster(const Rig& start, std::span<const Tie> ties, int shots, const SharedTerms& terms,
           const std::optional<SharedPrior>& prior, const AdjustOptions& options,
           std::span<const char> use)
      : ties_(ties),
        terms_(terms),
        prior_(prior),
        options_(options),
        flexing_lenses_(options.free_flex ? start.lens_count() - 1 : 0),
        baseline_m_(start.lens_count() > 1 ? start.baseline(0, 1).norm() : 0) {
    state_.rig = start;
    if (options.free_flex) {
      state_.flex.assign(static_cast<std::size_t>(shots),
                         std::vector<Vec3>(start.lenses.size(), Vec3::Zero()));
    }
    for (std::size_t i = 0; i < ties.size(); ++i) {
      state_.points.push_back(
          use.empty() || use[i] != 0 ? locate_tie(start, ties[i], options.free_depth) : TiePoint{});
      whiteners_.emplace_back();
      for (const TieSight& sight : ties[i].sights) {
        whiteners_.back().push_back(whitener(sight.covariance_px2));
      }
    }
  }

  AdjustResult run(const ProgressFn& progress) {
    AdjustResult result;
    double cost = cost_of(state_);
    result.initial_cost = cost;
    result.stop = StopReason::iteration_limit;
    double damping = 1e-6;
    for (int i = 0; i < options_.max_iterations; ++i) {
      if (!tell(progress, "solving", static_cast<double>(i) / options_.max_iterations)) {
        result.stop = StopReason::cancelled;
        break;
      }
      result.iterations = i + 1;
      const double lowered = descend(cost, damping);
      if (lowered < 0) {
        result.stop = StopReason::no_descent;
        break;
      }
      if (lowered <= options_.cost_tolerance * (std::abs(cost) + 1e-12)) {
        result.stop = StopReason::converged;
        break;
      }
    }
    result.final_cost = cost;
    find_covariance(result);
    result.rig = std::move(state_.rig);
    result.points = std::move(state_.points);
    result.flex = std::move(state_.flex);
    return result;
  }

 private:
  int columns() const {
    return terms_.columns() + static_cast<int>(state_.flex.size()) * flexing_lenses_ * 3;
  }
  int flex_column(int shot, int lens) const {
    return terms_.columns() + 3 * (shot * flexing_lenses_ + lens - 1);
  }
  bool flexes(int lens) const { return flexing_lenses_ > 0 && lens > 0; }

  Quat flex_quat(const State& state, int shot, int lens) const {
    if (!flexes(lens)) return Quat::Identity();
    return quat_from_rotation_vector(
        state.flex[static_cast<std::size_t>(shot)][static_cast<std::size_t>(lens)]);
  }

  // Cauchy: cost c² log(1 + s/c²) of a squared whitened residual s, and its weight.
  double robust_cost(double s) const {
    const double c2 = options_.robust_scale * options_.robust_scale;
    return c2 > 0 ? c2 * std::log1p(s / c2) : s;
  }
  double robust_weight(double s) const {
    const double c2 = options_.robust_scale * options_.robust_scale;
    return c2 > 0 ? 1.0 / (1.0 + s / c2) : 1.0;
  }

  double depth_cost(std::size_t index, double rho) const {
    const Tie& tie = ties_[index];
    double cost = 0;
    if (!options_.depth_priors.empty()) {
      const DepthPrior& known = options_.depth_priors[index];
      cost += known.weight * std::log1p(std::pow((rho - known.mean_per_m) / known.sigma_per_m, 2));
    }
    if (options_.depth_lean_per_m > 0) cost += 2 * rho / options_.depth_lean_per_m;
    if (options_.depth_floor_sigma_per_m > 0 && rho < 0) {
      cost += std::pow(rho / options_.depth_floor_sigma_per_m, 2);
    }
    if (tie.range == TieRange::far) cost += std::pow(rho / options_.far_sigma_per_m, 2);
    return cost;
  }

  void add_depth_terms(std::size_t index, double rho, double& normal, double& gradient) const {
    const Tie& tie = ties_[index];
    if (!options_.depth_priors.empty()) {
      const DepthPrior& known = options_.depth_priors[index];
      const double off = rho - known.mean_per_m;
      const double information = known.weight / (known.sigma_per_m * known.sigma_per_m + off * off);
      normal += information;
      gradient += information * off;
    }
    if (options_.depth_lean_per_m > 0) gradient += 1 / options_.depth_lean_per_m;
    if (options_.depth_floor_sigma_per_m > 0 && rho < 0) {
      const double information = std::pow(options_.depth_floor_sigma_per_m, -2);
      normal += information;
      gradient += information * rho;
    }
    if (tie.range == TieRange::far) {
      const double information = std::pow(options_.far_sigma_per_m, -2);
      normal += information;
      gradient += information * rho;
    }
  }

  double cost_of(const State& state) const {
    double cost = 0;
    for (std::size_t i = 0; i < ties_.size(); ++i) {
      if (state.points[i].usable) cost += tie_cost(state, i, state.points[i]);
    }
    if (prior_) {
      const Eigen::VectorXd off = terms_.difference(state.rig, prior_->reference);
      cost += off.dot(prior_->information * off);
    }
    for (const auto& shot : state.flex) {
      for (const Vec3& flex : shot) {
        cost += flex.squaredNorm() / (options_.flex_sigma_rad * options_.flex_sigma_rad);
      }
    }
    return cost;
  }

  // Columns of the reduced system that a tie touches, in order.
  std::vector<int> columns_of(const Tie& tie) const {
    std::vector<int> columns;
    for (const TieSight& sight : tie.sights) {
      for (int slot = 0; slot < kSlotCount; ++slot) {
        const int c = terms_.column(sight.lens, slot);
        if (c >= 0) columns.push_back(c);
      }
      if (flexes(sight.lens)) {
        for (int k = 0; k < 3; ++k) columns.push_back(flex_column(tie.shot, sight.lens) + k);
      }
    }
    return columns;
  }

  // Fills one sight's rows of the tie's Jacobian by the reduced columns.
  void fill_rows(const LinearSight& linear, int lens, int& at,
                 Eigen::Ref<Eigen::MatrixXd> rows) const {
    for (int slot = 0; slot < kSlotCount; ++slot) {
      if (terms_.column(lens, slot) >= 0) rows.col(at++) = linear.by_shared.col(slot);
    }
    if (flexes(lens)) {
      for (int k = 0; k < 3; ++k) rows.col(at++) = linear.by_flex.col(k);
    }
  }

  EliminatedPoint add_tie(std::size_t index, Reduced& reduced) const {
    const Tie& tie = ties_[index];
    const TiePoint& point = state_.points[index];
    const auto rows = static_cast<Eigen::Index>(2 * tie.sights.size());
    EliminatedPoint out;
    out.columns = columns_of(tie);
    const auto width = static_cast<Eigen::Index>(out.columns.size());
    Eigen::MatrixXd by_columns = Eigen::MatrixXd::Zero(rows, width);
    Eigen::MatrixXd by_point(rows, 3);
    Eigen::VectorXd residual(rows);
    int at = 0;
    for (std::size_t j = 0; j < tie.sights.size(); ++j) {
      const TieSight& sight = tie.sights[j];
      const LinearSight linear =
          linearise(state_.rig.lenses[static_cast<std::size_t>(sight.lens)],
                    flex_quat(state_, tie.shot, sight.lens), sight, whiteners_[index][j], point);
      const double root_weight = std::sqrt(robust_weight(linear.residual.squaredNorm()));
      const auto row = static_cast<Eigen::Index>(2 * j);
      fill_rows(linear, sight.lens, at, by_columns.middleRows(row, 2));
      by_columns.middleRows(row, 2) *= root_weight;
      by_point.middleRows(row, 2) = root_weight * linear.by_point;
      residual.segment(row, 2) = root_weight * linear.residual;
    }
    Mat3 normal = by_point.transpose() * by_point;
    out.gradient = by_point.transpose() * residual;
    if (!options_.free_depth) by_point.col(2).setZero();
    finish_point(index, point, normal, out.gradient);
    out.inverse = normal.inverse();
    out.point_by_columns = by_point.transpose() * by_columns;

    const Eigen::MatrixXd eliminated =
        by_columns.transpose() * by_columns -
        out.point_by_columns.transpose() * out.inverse * out.point_by_columns;
    const Eigen::VectorXd gradient = by_columns.transpose() * residual -
                                     out.point_by_columns.transpose() * out.inverse * out.gradient;
    for (Eigen::Index a = 0; a < width; ++a) {
      const int column_a = out.columns[static_cast<std::size_t>(a)];
      reduced.gradient[column_a] += gradient[a];
      for (Eigen::Index b = 0; b < width; ++b) {
        reduced.normal(column_a, out.columns[static_cast<std::size_t>(b)]) += eliminated(a, b);
      }
    }
    return out;
  }

  void add_priors(Reduced& reduced) const {
    const int shared = terms_.columns();
    if (prior_) {
      const Eigen::VectorXd off = terms_.difference(state_.rig, prior_->reference);
      reduced.normal.topLeftCorner(shared, shared) += prior_->information;
      reduced.gradient.head(shared) += prior_->information * off;
    }
    const double flex_information = 1.0 / (options_.flex_sigma_rad * options_.flex_sigma_rad);
    for (std::size_t shot = 0; shot < state_.flex.size(); ++shot) {
      for (int lens = 1; lens <= flexing_lenses_; ++lens) {
        const int column = flex_column(static_cast<int>(shot), lens);
        reduced.normal.diagonal().segment<3>(column).array() += flex_information;
        reduced.gradient.segment<3>(column) +=
            flex_information * state_.flex[shot][static_cast<std::size_t>(lens)];
      }
    }
    hold_baseline(reduced);
  }

  // The length of the first baseline is the scale: it gets a stiff spring along itself, and every
  // step ends on the sphere of that length.
  void hold_baseline(Reduced& reduced) const {
    if (baseline_m_ <= 0 || terms_.column(1, kPupilX) < 0) return;
    const Vec3 along = state_.rig.baseline(0, 1).normalized();
    const int column = terms_.column(1, kPupilX);
    constexpr double kSpringSigma = 1e-4;  // of the baseline
    reduced.normal.block<3, 3>(column, column) +=
        along * along.transpose() * std::pow(kSpringSigma * baseline_m_, -2);
  }

  void restore_baseline(Rig& rig) const {
    if (baseline_m_ <= 0 || terms_.column(1, kPupilX) < 0) return;
    rig.lenses[1].pupil = rig.lenses[0].pupil - baseline_m_ * rig.baseline(0, 1).normalized();
  }

  Reduced reduce(double damping) const {
    Reduced reduced{Eigen::MatrixXd::Zero(columns(), columns()), Eigen::VectorXd::Zero(columns()),
                    std::vector<EliminatedPoint>(ties_.size())};
    for (std::size_t i = 0; i < ties_.size(); ++i) {
      if (state_.points[i].usable) reduced.points[i] = add_tie(i, reduced);
    }
    add_priors(reduced);
    reduced.normal.diagonal() *= 1 + damping;
    return reduced;
  }

  // Solves with the columns brought to unit diagonal first: terms differ by many powers of ten.
  static Eigen::VectorXd solve_scaled(const Reduced& reduced) {
    if (reduced.gradient.size() == 0) return {};
    const Eigen::VectorXd scale =
        reduced.normal.diagonal().cwiseMax(1e-300).cwiseSqrt().cwiseInverse();
    const Eigen::MatrixXd scaled = scale.asDiagonal() * reduced.normal * scale.asDiagonal();
    return -(scale.asDiagonal() * scaled.ldlt().solve(scale.asDiagonal() * reduced.gradient));
  }

  State stepped(const Reduced& reduced, const Eigen::VectorXd& step) const {
    State next;
    next.rig = terms_.stepped(state_.rig, step.head(terms_.columns()));
    restore_baseline(next.rig);
    next.flex = state_.flex;
    for (std::size_t shot = 0; shot < next.flex.size(); ++shot) {
      for (int lens = 1; lens <= flexing_lenses_; ++lens) {
        Vec3& flex = next.flex[shot][static_cast<std::size_t>(lens)];
        const Vec3 turn = step.segment<3>(flex_column(static_cast<int>(shot), lens));
        flex = rotation_vector_from_quat(quat_from_rotation_vector(turn) *
                                         quat_from_rotation_vector(flex));
      }
    }
    next.points = state_.points;
    for (std::size_t i = 0; i < ties_.size(); ++i) {
      if (!next.points[i].usable) continue;
      move_point(reduced.points[i], step, next.points[i]);
      for (int k = 0; k < kPointSteps; ++k) refine_point(next, i);
    }
    return next;
  }

  static void move_point(const EliminatedPoint& eliminated, const Eigen::VectorXd& step,
                         TiePoint& point) {
    Eigen::VectorXd local(static_cast<Eigen::Index>(eliminated.columns.size()));
    for (Eigen::Index k = 0; k < local.size(); ++k) {
      local[k] = step[eliminated.columns[static_cast<std::size_t>(k)]];
    }
    const Vec3 move =
        -(eliminated.inverse * (eliminated.gradient + eliminated.point_by_columns * local));
    point.direction =
        (point.direction + tangent_basis(point.direction) * move.head<2>()).normalized();
    point.inverse_depth += move[2];
  }

  double tie_cost(const State& state, std::size_t index, const TiePoint& point) const {
    const Tie& tie = ties_[index];
    double cost = options_.free_depth ? depth_cost(index, point.inverse_depth) : 0;
    for (std::size_t j = 0; j < tie.sights.size(); ++j) {
      const TieSight& sight = tie.sights[j];
      const Vec2 r = sight_residual(state.rig.lenses[static_cast<std::size_t>(sight.lens)],
                                    flex_quat(state, tie.shot, sight.lens), sight, point);
      cost += robust_cost((whiteners_[index][j] * r).squaredNorm());
    }
    return cost;
  }

  // A Gauss–Newton step of one tie with the rig held, kept when it helps. A shared step along a
  // weakly held direction (angular scale against depth) is long; without this the curvature of the
  // ties' own paths would cut it short.
  void refine_point(State& state, std::size_t index) const {
    const Tie& tie = ties_[index];
    TiePoint point = state.points[index];
    Mat3 normal = Mat3::Zero();
    Vec3 gradient = Vec3::Zero();
    for (std::size_t j = 0; j < tie.sights.size(); ++j) {
      const TieSight& sight = tie.sights[j];
      const LinearSight linear =
          linearise(state.rig.lenses[static_cast<std::size_t>(sight.lens)],
                    flex_quat(state, tie.shot, sight.lens), sight, whiteners_[index][j], point);
      const double weight = robust_weight(linear.residual.squaredNorm());
      normal += weight * linear.by_point.transpose() * linear.by_point;
      gradient += weight * linear.by_point.transpose() * linear.residual;
    }
    finish_point(index, point, normal, gradient);
    const Vec3 move = -(normal.inverse() * gradient);
    point.direction =
        (point.direction + tangent_basis(point.direction) * move.head<2>()).normalized();
    point.inverse_depth += move[2];
    if (tie_cost(state, index, point) < tie_cost(state, index, state.points[index])) {
      state.points[index] = point;
    }
  }

  // Depth terms and damping of a tie's own 3 × 3 system; a fixed depth leaves it.
  void finish_point(std::size_t index, const TiePoint& point, Mat3& normal, Vec3& gradient) const {
    if (options_.free_depth) {
      add_depth_terms(index, point.inverse_depth, normal(2, 2), gradient[2]);
    } else {
      normal.row(2).setZero();
      normal.col(2).setZero();
      normal(2, 2) = 1;
      gradient[2] = 0;
    }
    normal.diagonal() *= 1 + kPointDamping;
  }

  // One accepted step; returns how much it lowered the cost, or −1 when none does.
  double descend(double& cost, double& damping) {
    constexpr double kLargestDamping = 1e10;
    while (damping < kLargestDamping) {
      const Reduced reduced = reduce(damping);
      State next = stepped(reduced, solve_scaled(reduced));
      const double next_cost = cost_of(next);
      if (std::isfinite(next_cost) && next_cost <= cost) {
        const double lowered = cost - next_cost;
        state_ = std::move(next);
        cost = next_cost;
        damping = std::max(damping * 0.1, 1e-12);
        return lowered;
      }
      damping = std::max(damping * 10, 1e-9);
    }
    return -1;
  }

  void find_covariance(AdjustResult& result) const {
    if (columns() == 0) return;
    const Reduced reduced = reduce(0);
    const Eigen::VectorXd scale =
        reduced.normal.diagonal().cwiseMax(1e-300).cwiseSqrt().cwiseInverse();
    const Eigen::MatrixXd scaled = scale.asDiagonal() * reduced.normal * scale.asDiagonal();
    const Eigen::LDLT<Eigen::MatrixXd> factor(scaled);
    if (factor.info() != Eigen::Success || !(factor.vectorD().minCoeff() > 1e-14)) return;
    Eigen::MatrixXd all = factor.solve(Eigen::MatrixXd::Identity(columns(), columns()));
    all = scale.asDiagonal() * all * scale.asDiagonal();
    const int shared = terms_.columns();
    result.covariance =
        0.5 * (all.topLeftCorner(shared, shared) + all.topLeftCorner(shared, shared).transpose());
    const auto flex_columns = static_cast<double>(columns() - shared);
    if (flex_columns > 0) {
      result.flex_posterior_variance = all.diagonal().tail(columns() - shared).sum() / flex_columns;
    }
  }

  std::span<const Tie> ties_;
  const SharedTerms& terms_;
  const std::optional<SharedPrior>& prior_;
  const AdjustOptions& options_;
  int flexing_lenses_;
  double baseline_m_;
  State state_;
  std::vector<std::vector<Mat2>> whiteners_;
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

AdjustResult adjust(const Rig& start, std::span<const Tie> ties, int shots,
                    const SharedTerms& terms, const std::optional<SharedPrior>& prior,
                    const AdjustOptions& options, std::span<const char> use,
                    const ProgressFn& progress) {
  return Adjuster(start, ties, shots, terms, prior, options, use).run(progress);
}

}  // namespace seamwright
