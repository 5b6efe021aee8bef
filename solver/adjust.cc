#include "solver/adjust.h"

#include <algorithm>
#include <cmath>
#include <numeric>

#include <Eigen/Cholesky>

#include "base/parallel.h"
#include "solver/columns.h"
#include "solver/depth_terms.h"
#include "solver/elimination.h"
#include "solver/line_terms.h"
#include "solver/robust.h"
#include "solver/sight.h"

namespace seamwright {

namespace {

// Everything that a step moves.
struct State {
  Rig rig;
  std::vector<TiePoint> points;
  std::vector<ShotState> shots;
  SightPlaces places{};
  std::vector<double> costs{};  // of the ties
  std::vector<Vec3> line_normals{};
};

constexpr double kPointDamping = 1e-9;  // keeps a depth that nothing holds from running away
constexpr int kPointSteps = 2;
constexpr double kPointTolerance = 1e-7;  // a point's step is left out that promises to lower its
                                          // cost by a smaller share
constexpr int kChunks = 8;                // of ties, summed apart and then in order

// What never changes of one tie.
struct Prepared {
  TieColumns columns;
  DepthTerms depth;
  std::vector<Mat2> whiteners;
};

Vec3 turned(const Vec3& turn, const Vec3& rotation) {
  return rotation_vector_from_quat(quat_from_rotation_vector(turn) *
                                   quat_from_rotation_vector(rotation));
}

void step_point(const Vec3& move, const Eigen::Matrix<double, 3, 2>& tangent, TiePoint& point) {
  point.direction = (point.direction + tangent * move.head<2>()).normalized();
  point.inverse_depth += move[2];
}

// Solves with the columns brought to unit diagonal first: terms differ by many powers of ten.
Eigen::VectorXd solve_scaled(const Reduced& reduced) {
  if (reduced.gradient.size() == 0) return {};
  const Eigen::VectorXd scale =
      reduced.normal.diagonal().cwiseMax(1e-300).cwiseSqrt().cwiseInverse();
  const Eigen::MatrixXd scaled = scale.asDiagonal() * reduced.normal * scale.asDiagonal();
  return -(scale.asDiagonal() * scaled.ldlt().solve(scale.asDiagonal() * reduced.gradient));
}

// Empty when singular.
Eigen::MatrixXd inverse_scaled(const Eigen::MatrixXd& normal) {
  const Eigen::VectorXd scale = normal.diagonal().cwiseMax(1e-300).cwiseSqrt().cwiseInverse();
  const Eigen::MatrixXd scaled = scale.asDiagonal() * normal * scale.asDiagonal();
  const Eigen::LDLT<Eigen::MatrixXd> factor(scaled);
  if (factor.info() != Eigen::Success || !(factor.vectorD().minCoeff() > 1e-14)) return {};
  Eigen::MatrixXd all = factor.solve(Eigen::MatrixXd::Identity(normal.rows(), normal.cols()));
  all = scale.asDiagonal() * all * scale.asDiagonal();
  return 0.5 * (all + all.transpose());
}

class Adjuster {
 public:
  Adjuster(const Rig& start, std::span<const Tie> ties, std::vector<ShotState> shots,
           const SharedTerms& terms, const std::optional<SharedPrior>& prior,
           const AdjustOptions& options, std::span<const char> use)
      : ties_(ties),
        terms_(terms),
        prior_(prior),
        options_(options),
        columns_(terms, shots, options.free_flex),
        lines_(options.lines, start, terms, options.robust_scale),
        baseline_m_(start.lens_count() > 1 ? start.baseline(0, 1).norm() : 0) {
    state_.rig = start;
    for (ShotState& shot : shots) {
      if (!options.free_flex) shot.flex.clear();
      if (options.free_flex) shot.flex.resize(start.lenses.size(), Vec3::Zero());
    }
    state_.shots = std::move(shots);
    for (std::size_t i = 0; i < ties.size(); ++i) prepare(i, use.empty() || use[i] != 0);
    eliminated_.resize(ties.size());
    state_.places = SightPlaces(state_.rig, state_.shots);
    state_.costs.assign(ties.size(), 0.0);
    for_each_tie(state_.points, [&](std::size_t, std::size_t i) {
      state_.costs[i] = tie_cost(state_, i, state_.points[i]);
    });
    state_.line_normals = lines_.start();
  }

  AdjustResult run(const ProgressFn& progress) {
    AdjustResult result;
    result.initial_cost = cost_of(state_);
    for_each_tie(state_.points, [&](std::size_t, std::size_t i) { settle_point(state_, i); });
    double cost = cost_of(state_);
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
    result.line_normals = std::move(state_.line_normals);
    result.shots = std::move(state_.shots);
    return result;
  }

 private:
  void prepare(std::size_t index, bool used) {
    const Tie& tie = ties_[index];
    const bool alone = state_.shots[static_cast<std::size_t>(tie.shot)].pose.network == kNoNetwork;
    prepared_.push_back({TieColumns(tie, terms_, columns_), DepthTerms(options_, tie, index, alone),
                         std::vector<Mat2>{}});
    for (const TieSight& sight : tie.sights) {
      prepared_.back().whiteners.push_back(whitener(sight.covariance_px2));
    }
    state_.points.push_back(used ? locate_tie(state_.rig, tie, options_.free_depth, state_.shots)
                                 : TiePoint{});
  }

  // Calls body(chunk, tie) for every usable tie, chunks side by side, ties of a chunk in order.
  template <class Body>
  void for_each_tie(const std::vector<TiePoint>& points, Body&& body) const {
    const std::size_t count = ties_.size();
    parallel_for(0, kChunks, [&](int chunk) {
      const auto c = static_cast<std::size_t>(chunk);
      for (std::size_t i = count * c / kChunks; i < count * (c + 1) / kChunks; ++i) {
        if (points[i].usable) body(c, i);
      }
    });
  }

  double cost_of(const State& state) const {
    double cost = std::accumulate(state.costs.begin(), state.costs.end(), 0.0);
    cost += lines_.cost(state.rig, state.line_normals);
    if (prior_) {
      const Eigen::VectorXd off = terms_.difference(state.rig, prior_->reference);
      cost += off.dot(prior_->information * off);
    }
    for (const ShotState& shot : state.shots) {
      for (const Vec3& flex : shot.flex) {
        cost += flex.squaredNorm() / (options_.flex_sigma_rad * options_.flex_sigma_rad);
      }
    }
    return cost;
  }

  double tie_cost(const State& state, std::size_t index, const TiePoint& point) const {
    const Tie& tie = ties_[index];
    double cost = options_.free_depth ? prepared_[index].depth.cost(point.inverse_depth) : 0;
    for (std::size_t j = 0; j < tie.sights.size(); ++j) {
      const SightPlace place = state.places.of(state.rig, tie, tie.sights[j]);
      const Vec2 r = sight_residual(place, tie.sights[j], point);
      cost += robust_cost((prepared_[index].whiteners[j] * r).squaredNorm(), options_.robust_scale);
    }
    return cost;
  }

  // Residuals and Jacobian of a tie, each sight weighted by its robust weight.
  void fill_rows(std::size_t index, TieRows& rows) const {
    const Tie& tie = ties_[index];
    const Prepared& prepared = prepared_[index];
    const auto height = static_cast<Eigen::Index>(2 * tie.sights.size());
    rows.by_columns.setZero(height, static_cast<Eigen::Index>(prepared.columns.columns.size()));
    rows.by_point.resize(height, 3);
    rows.residual.resize(height);
    for (std::size_t j = 0; j < tie.sights.size(); ++j) {
      const TieSight& sight = tie.sights[j];
      const LinearSight linear = linearise(state_.places.of(state_.rig, tie, sight), sight,
                                           prepared.whiteners[j], state_.points[index]);
      const double weight =
          std::sqrt(robust_weight(linear.residual.squaredNorm(), options_.robust_scale));
      const auto row = static_cast<Eigen::Index>(2 * j);
      rows.residual.segment<2>(row) = weight * linear.residual;
      rows.by_point.middleRows<2>(row) = weight * linear.by_point;
      const TieColumns::Blocks& at = prepared.columns.sights[j];
      auto in_columns = rows.by_columns.middleRows<2>(row);
      int column = at.lens;
      for (const int slot : terms_.free_slots(sight.lens)) {
        in_columns.col(column++) += weight * linear.by_shared.col(slot);
      }
      if (at.flex != kFixed) in_columns.middleCols<3>(at.flex) += weight * linear.by_flex;
      if (at.own_pose != kFixed)
        in_columns.middleCols<6>(at.own_pose) += weight * linear.by_own_pose;
      if (at.seen_pose != kFixed) {
        in_columns.middleCols<6>(at.seen_pose) += weight * linear.by_seen_pose;
      }
    }
  }

  void add_tie(std::size_t index, TieRows& rows, TieStack& stack, Reduced& sum) {
    fill_rows(index, rows);
    EliminatedPoint& out = eliminated_[index];
    Mat3 normal = rows.by_point.transpose() * rows.by_point;
    out.gradient = rows.by_point.transpose() * rows.residual;
    if (!options_.free_depth) rows.by_point.col(2).setZero();
    finish_point(index, state_.points[index], normal, out.gradient);
    stack.add(prepared_[index].columns.columns, rows, normal, out, sum);
  }

  void add_priors(Reduced& reduced) const {
    const int shared = terms_.columns();
    if (prior_) {
      const Eigen::VectorXd off = terms_.difference(state_.rig, prior_->reference);
      reduced.normal.topLeftCorner(shared, shared) += prior_->information;
      reduced.gradient.head(shared) += prior_->information * off;
    }
    const double flex_information = 1.0 / (options_.flex_sigma_rad * options_.flex_sigma_rad);
    for_each_flex([&](int shot, int lens, int column) {
      reduced.normal.diagonal().segment<3>(column).array() += flex_information;
      reduced.gradient.segment<3>(column) +=
          flex_information *
          state_.shots[static_cast<std::size_t>(shot)].flex[static_cast<std::size_t>(lens)];
    });
    hold_baseline(reduced);
  }

  template <class Body>
  void for_each_flex(Body&& body) const {
    if (!options_.free_flex) return;
    for (int shot = 0; shot < static_cast<int>(state_.shots.size()); ++shot) {
      for (int lens = 1; lens < state_.rig.lens_count(); ++lens) {
        body(shot, lens, columns_.flex(shot, lens));
      }
    }
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

  // Also keeps every point's part for the steps that follow.
  Reduced reduce() {
    const int width = columns_.count();
    std::vector<Reduced> parts(kChunks);
    std::vector<TieRows> rows(kChunks);
    std::vector<TieStack> stacks(kChunks);
    for (Reduced& part : parts) {
      part = {Eigen::MatrixXd::Zero(width, width), Eigen::VectorXd::Zero(width)};
    }
    for_each_tie(state_.points, [&](std::size_t chunk, std::size_t i) {
      add_tie(i, rows[chunk], stacks[chunk], parts[chunk]);
    });
    for (std::size_t chunk = 0; chunk < kChunks; ++chunk) stacks[chunk].flush(parts[chunk]);
    Reduced reduced = std::move(parts[0]);
    for (std::size_t chunk = 1; chunk < kChunks; ++chunk) {
      reduced.normal += parts[chunk].normal;
      reduced.gradient += parts[chunk].gradient;
    }
    lines_.add(state_.rig, state_.line_normals, reduced.normal, reduced.gradient);
    add_priors(reduced);
    return reduced;
  }

  State stepped(const Eigen::VectorXd& step) const {
    State next;
    next.rig = terms_.stepped(state_.rig, step.head(terms_.columns()));
    restore_baseline(next.rig);
    next.shots = state_.shots;
    for_each_flex([&](int shot, int lens, int column) {
      Vec3& flex = next.shots[static_cast<std::size_t>(shot)].flex[static_cast<std::size_t>(lens)];
      flex = turned(step.segment<3>(column), flex);
    });
    for (std::size_t shot = 0; shot < next.shots.size(); ++shot) {
      const int column = columns_.pose(static_cast<int>(shot));
      if (column == kFixed) continue;
      ShotPose& pose = next.shots[shot].pose;
      pose.world_from_rig =
          (quat_from_rotation_vector(step.segment<3>(column)) * pose.world_from_rig).normalized();
      pose.position += step.segment<3>(column + 3);
    }
    next.places = SightPlaces(next.rig, next.shots);
    next.line_normals = lines_.stepped(next.rig, state_.line_normals, step);
    next.points = state_.points;
    next.costs = state_.costs;
    for_each_tie(state_.points, [&](std::size_t, std::size_t i) {
      move_point(i, step, next.points[i]);
      settle_point(next, i);
    });
    return next;
  }

  void move_point(std::size_t index, const Eigen::VectorXd& step, TiePoint& point) const {
    const EliminatedPoint& eliminated = eliminated_[index];
    const std::vector<int>& columns = prepared_[index].columns.columns;
    Vec3 pull = eliminated.gradient;
    for (std::size_t k = 0; k < columns.size(); ++k) {
      pull += eliminated.by_columns.col(static_cast<Eigen::Index>(k)) * step[columns[k]];
    }
    step_point(-(eliminated.inverse * pull), tangent_basis(point.direction), point);
  }

  // A tie with the rig held: what it costs, and the normal equations of its point.
  struct PointSystem {
    double cost = 0;
    Mat3 normal = Mat3::Zero();
    Vec3 gradient = Vec3::Zero();
  };

  PointSystem point_system(const State& state, std::size_t index, const TiePoint& point,
                           const Eigen::Matrix<double, 3, 2>& tangent) const {
    const Tie& tie = ties_[index];
    PointSystem system;
    if (options_.free_depth) system.cost = prepared_[index].depth.cost(point.inverse_depth);
    for (std::size_t j = 0; j < tie.sights.size(); ++j) {
      const PointSight linear =
          linearise_point(state.places.of(state.rig, tie, tie.sights[j]), tie.sights[j],
                          prepared_[index].whiteners[j], point, tangent);
      const double s = linear.residual.squaredNorm();
      const Eigen::Matrix<double, 3, 2> weighted =
          robust_weight(s, options_.robust_scale) * linear.by_point.transpose();
      system.cost += robust_cost(s, options_.robust_scale);
      system.normal += weighted * linear.by_point;
      system.gradient += weighted * linear.residual;
    }
    finish_point(index, point, system.normal, system.gradient);
    return system;
  }

  // Gauss–Newton steps of one tie with the rig held, kept while they help. A shared step along a
  // weakly held direction (angular scale against depth) is long; without this the curvature of the
  // ties' own paths would cut it short. Mostly the first look tells that nothing is left to do.
  void settle_point(State& state, std::size_t index) const {
    TiePoint& kept = state.points[index];
    double& cost = state.costs[index];
    TiePoint point = kept;
    for (int k = 0; k < kPointSteps; ++k) {
      const Eigen::Matrix<double, 3, 2> tangent = tangent_basis(point.direction);
      const PointSystem system = point_system(state, index, point, tangent);
      if (k > 0 && !(system.cost < cost)) return;
      kept = point;
      cost = system.cost;
      const Vec3 move = -(system.normal.inverse() * system.gradient);
      if (-move.dot(system.gradient) <= kPointTolerance * std::abs(cost)) return;
      step_point(move, tangent, point);
    }
    const double last = tie_cost(state, index, point);
    if (!(last < cost)) return;
    kept = point;
    cost = last;
  }

  // Depth terms and damping of a tie's own 3 × 3 system; a fixed depth leaves it.
  void finish_point(std::size_t index, const TiePoint& point, Mat3& normal, Vec3& gradient) const {
    if (options_.free_depth) {
      prepared_[index].depth.add(point.inverse_depth, normal(2, 2), gradient[2]);
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
    const Reduced undamped = reduce();
    bool refused = false;
    while (damping < kLargestDamping) {
      Reduced reduced = undamped;
      reduced.normal.diagonal() *= 1 + damping;
      State next = stepped(solve_scaled(reduced));
      const double next_cost = cost_of(next);
      if (std::isfinite(next_cost) && next_cost <= cost) {
        const double lowered = cost - next_cost;
        state_ = std::move(next);
        cost = next_cost;
        // Where a longer step has just failed, the next one would fail as well.
        if (!refused) damping = std::max(damping * 0.1, 1e-12);
        return lowered;
      }
      refused = true;
      damping = std::max(damping * 10, 1e-9);
    }
    return -1;
  }

  void find_covariance(AdjustResult& result) {
    result.pose_covariance.assign(state_.shots.size(), PoseCovariance::Zero());
    if (columns_.count() == 0 || !options_.with_covariance) return;
    const Eigen::MatrixXd all = inverse_scaled(reduce().normal);
    if (all.size() == 0) return;
    result.covariance = all.topLeftCorner(columns_.shared(), columns_.shared());
    if (options_.free_flex) {
      result.flex_variance.assign(state_.shots.size(),
                                  std::vector<Vec3>(state_.rig.lenses.size(), Vec3::Zero()));
    }
    for_each_flex([&](int shot, int lens, int column) {
      result.flex_variance[static_cast<std::size_t>(shot)][static_cast<std::size_t>(lens)] =
          all.diagonal().segment<3>(column);
    });
    for (std::size_t shot = 0; shot < state_.shots.size(); ++shot) {
      const int column = columns_.pose(static_cast<int>(shot));
      if (column == kFixed) continue;
      result.pose_covariance[shot] = all.block<6, 6>(column, column);
    }
  }

  std::span<const Tie> ties_;
  const SharedTerms& terms_;
  const std::optional<SharedPrior>& prior_;
  const AdjustOptions& options_;
  Columns columns_;
  LineTerms lines_;
  double baseline_m_;
  State state_;
  std::vector<Prepared> prepared_;
  std::vector<EliminatedPoint> eliminated_;
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

AdjustResult adjust(const Rig& start, std::span<const Tie> ties, std::vector<ShotState> shots,
                    const SharedTerms& terms, const std::optional<SharedPrior>& prior,
                    const AdjustOptions& options, std::span<const char> use,
                    const ProgressFn& progress) {
  return Adjuster(start, ties, std::move(shots), terms, prior, options, use).run(progress);
}

AdjustResult adjust(const Rig& start, std::span<const Tie> ties, int shots,
                    const SharedTerms& terms, const std::optional<SharedPrior>& prior,
                    const AdjustOptions& options, std::span<const char> use,
                    const ProgressFn& progress) {
  return adjust(start, ties, std::vector<ShotState>(static_cast<std::size_t>(shots)), terms, prior,
                options, use, progress);
}

}  // namespace seamwright
