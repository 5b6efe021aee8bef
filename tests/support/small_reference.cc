#include "tests/support/small_reference.h"

#include <cmath>

#include <Eigen/LU>

namespace seamwright::test {

namespace {

Mat3 frame_at(const Vec3& direction) {
  const Vec3 other = std::abs(direction.z()) < 0.8 ? Vec3::UnitZ() : Vec3::UnitX();
  Mat3 frame;
  frame.col(0) = direction.cross(other).normalized();
  frame.col(1) = direction.cross(frame.col(0));
  frame.col(2) = direction;
  return frame;
}

Vec3 turned(const Vec3& by, const Vec3& rotation) {
  return rotation_vector_from_quat(quat_from_rotation_vector(by) *
                                   quat_from_rotation_vector(rotation));
}

long double loss(long double s, long double scale) {
  return scale > 0 ? scale * scale * std::log1p(s / (scale * scale)) : s;
}
long double slope(long double s, long double scale) {
  return scale > 0 ? 1 / (1 + s / (scale * scale)) : 1;
}

// What a loss takes together, the sights of one tie: the sum of squares, its scale, and which.
struct Lost {
  long double square = 0;
  long double scale = 0;
  std::size_t first = 0;
  std::size_t count = 0;
};

std::vector<Lost> taken_together(std::span<const Tie> ties, const std::vector<Vec2>& sights,
                                 double scale) {
  std::vector<Lost> all;
  std::size_t at = 0;
  for (const Tie& tie : ties) {
    Lost lost{.scale = scale * std::sqrt(static_cast<long double>(tie.sights.size())),
              .first = at,
              .count = tie.sights.size()};
    for (std::size_t j = 0; j < lost.count; ++j) lost.square += sights[at + j].squaredNorm();
    all.push_back(lost);
    at += lost.count;
  }
  return all;
}

}  // namespace

SmallReference::SmallReference(const AdjustProblem& problem, const SharedPrior& prior,
                               std::vector<TiePoint> points, const AdjustOptions& options)
    : ties_(problem.ties),
      terms_(problem.terms),
      prior_(prior),
      options_(options),
      state_{problem.start, problem.shots, std::move(points)} {
  for (ShotState& shot : state_.shots) {
    if (options.free_flex && shot.flex.empty()) shot.flex.resize(2, Vec3::Zero());
  }
}

// Shared terms, one pupil step fewer; flex and pose of every shot; points.
int SmallReference::flex_at(int shot) const {
  return terms_.columns() - 1 + (options_.free_flex ? 9 : 6) * shot;
}
int SmallReference::pose_at(int shot) const { return flex_at(shot) + (options_.free_flex ? 3 : 0); }
int SmallReference::unknowns() const {
  return flex_at(static_cast<int>(state_.shots.size())) + 3 * static_cast<int>(ties_.size());
}

SmallReference::State SmallReference::moved(const State& from, const Vector& step) const {
  State next = from;
  const Eigen::VectorXd x = step.cast<double>();
  const int pupil = terms_.column(1, kPupilX);
  const Mat3 sphere = frame_at(from.rig.baseline(0, 1).normalized());
  Eigen::VectorXd shared = Eigen::VectorXd::Zero(terms_.columns());
  shared.head(pupil) = x.head(pupil);
  shared.segment<3>(pupil) = sphere.leftCols<2>() * x.segment<2>(pupil);
  next.rig = terms_.stepped(from.rig, shared);
  next.rig.lenses[1].pupil = next.rig.lenses[0].pupil -
                             from.rig.baseline(0, 1).norm() * next.rig.baseline(0, 1).normalized();
  for (int s = 0; s < static_cast<int>(next.shots.size()); ++s) {
    ShotState& shot = next.shots[static_cast<std::size_t>(s)];
    if (options_.free_flex) shot.flex[1] = turned(x.segment<3>(flex_at(s)), shot.flex[1]);
    if (!is_free(s)) continue;
    shot.pose.world_from_rig =
        quat_from_rotation_vector(x.segment<3>(pose_at(s))) * shot.pose.world_from_rig;
    shot.pose.position += x.segment<3>(pose_at(s) + 3);
  }
  const int first = flex_at(static_cast<int>(next.shots.size()));
  for (std::size_t i = 0; i < ties_.size(); ++i) {
    const Vec3 by = x.segment<3>(first + 3 * static_cast<int>(i));
    TiePoint& point = next.points[i];
    const Mat3 frame = frame_at(point.direction);
    point.direction = (point.direction + frame.leftCols<2>() * by.head<2>()).normalized();
    point.inverse_depth += by.z();
  }
  return next;
}

// All shots are of one network, whose world is the first.
bool SmallReference::is_free(int shot) const { return shot > 0; }

std::vector<Vec2> SmallReference::whitened(const State& state) const {
  std::vector<Vec2> all;
  for (std::size_t i = 0; i < ties_.size(); ++i) {
    const Tie& tie = ties_[i];
    for (const TieSight& sight : tie.sights) {
      const ShotState& own = state.shots[static_cast<std::size_t>(tie.shot)];
      const ShotState& there = state.shots[static_cast<std::size_t>(tie.shot_of(sight))];
      const double rho = state.points[i].inverse_depth;
      const Vec3 in_world = own.pose.world_from_rig * state.points[i].direction +
                            rho * (own.pose.position - there.pose.position);
      const Vec3 seen = there.pose.world_from_rig.conjugate() * in_world;
      MountedLens mounted = state.rig.lenses[static_cast<std::size_t>(sight.lens)];
      if (sight.lens > 0) mounted.rig_from_lens = there.flex_of(sight.lens) * mounted.rig_from_lens;
      const auto px = mounted.project_point(seen.normalized(), rho / seen.norm());
      if (!px) return {};
      const Mat2 white = sight.covariance_px2.inverse().llt().matrixL().transpose();
      all.emplace_back(white * (*px - sight.px));
    }
  }
  return all;
}

long double SmallReference::cost_of(const State& state) const {
  const std::vector<Vec2> sights = whitened(state);
  if (sights.empty()) return std::numeric_limits<long double>::infinity();
  long double sum = 0;
  for (const Lost& lost : taken_together(ties_, sights, options_.robust_scale)) {
    sum += loss(lost.square, lost.scale);
  }
  const Eigen::VectorXd off = terms_.difference(state.rig, prior_.reference);
  sum += off.dot(prior_.information * off);
  for (const ShotState& shot : state.shots) {
    for (const Vec3& flex : shot.flex)
      sum += flex.squaredNorm() / std::pow(options_.flex_sigma_rad, 2);
  }
  return sum;
}

// Every derivative is a difference of the model itself, the prior's too.
void SmallReference::normal_equations(Matrix& normal, Vector& gradient) const {
  const int n = unknowns();
  const std::vector<Vec2> sights = whitened(state_);
  const auto priors_of = [&](const State& state) {
    Vector rows(terms_.columns() + 3 * static_cast<int>(state.shots.size()));
    rows.setZero();
    rows.head(terms_.columns()) =
        terms_.difference(state.rig, prior_.reference).cast<long double>();
    for (std::size_t s = 0; s < state.shots.size() && options_.free_flex; ++s) {
      rows.segment<3>(terms_.columns() + 3 * static_cast<Eigen::Index>(s)) =
          state.shots[s].flex[1].cast<long double>();
    }
    return rows;
  };
  const Vector priors = priors_of(state_);
  Matrix of_priors = Matrix::Zero(priors.size(), priors.size());
  of_priors.topLeftCorner(terms_.columns(), terms_.columns()) =
      prior_.information.cast<long double>();
  of_priors.diagonal()
      .tail(priors.size() - terms_.columns())
      .setConstant(1 / std::pow(static_cast<long double>(options_.flex_sigma_rad), 2));
  Matrix jacobian(2 * static_cast<Eigen::Index>(sights.size()), n);
  Matrix by_priors(priors.size(), n);
  Vector residual(jacobian.rows());
  Vector weight(jacobian.rows());
  for (std::size_t k = 0; k < sights.size(); ++k) {
    const auto row = static_cast<Eigen::Index>(2 * k);
    residual.segment<2>(row) = sights[k].cast<long double>();
  }
  for (const Lost& lost : taken_together(ties_, sights, options_.robust_scale)) {
    weight
        .segment(static_cast<Eigen::Index>(2 * lost.first),
                 static_cast<Eigen::Index>(2 * lost.count))
        .setConstant(slope(lost.square, lost.scale));
  }
  for (int c = 0; c < n; ++c) {
    const bool px = c < terms_.columns() - 1 && terms_.slot_of(c) <= kCentreV;
    const long double h = px ? 1e-2L : 1e-5L;
    const State more = moved(state_, h * Vector::Unit(n, c));
    const State less = moved(state_, -h * Vector::Unit(n, c));
    const std::vector<Vec2> up = whitened(more);
    const std::vector<Vec2> down = whitened(less);
    for (std::size_t k = 0; k < sights.size(); ++k) {
      jacobian.block<2, 1>(static_cast<Eigen::Index>(2 * k), c) =
          (up[k] - down[k]).cast<long double>() / (2 * h);
    }
    by_priors.col(c) = (priors_of(more) - priors_of(less)) / (2 * h);
  }
  normal = jacobian.transpose() * weight.asDiagonal() * jacobian +
           by_priors.transpose() * of_priors * by_priors;
  gradient = jacobian.transpose() * weight.asDiagonal() * residual +
             by_priors.transpose() * of_priors * priors;
  // Poses that are fixed have no step.
  for (int s = 0; s < static_cast<int>(state_.shots.size()); ++s) {
    if (!is_free(s)) normal.diagonal().segment<6>(pose_at(s)).array() += 1;
  }
}

int SmallReference::solve() {
  constexpr int kMost = 200;
  for (int i = 0; i < kMost; ++i) {
    Matrix normal;
    Vector gradient;
    normal_equations(normal, gradient);
    const Vector scale = normal.diagonal().cwiseSqrt().cwiseInverse();
    const Matrix scaled = scale.asDiagonal() * normal * scale.asDiagonal();
    Vector step =
        -(scale.asDiagonal() * scaled.fullPivLu().solve(Vector(scale.asDiagonal() * gradient)));
    const long double promised = -step.dot(gradient);
    const long double before = cost();
    if (promised < 1e-13L * before) return i;
    int halvings = 0;
    while (!(cost_of(moved(state_, step)) < before) && ++halvings < 30) step /= 2;
    if (halvings == 30) return i;
    state_ = moved(state_, step);
  }
  return kMost;
}

SmallReference::Matrix SmallReference::all_covariance() {
  Matrix normal;
  Vector gradient;
  normal_equations(normal, gradient);
  const Vector scale = normal.diagonal().cwiseSqrt().cwiseInverse();
  const Matrix scaled = scale.asDiagonal() * normal * scale.asDiagonal();
  return scale.asDiagonal() * scaled.inverse() * scale.asDiagonal();
}

Eigen::MatrixXd SmallReference::covariance() {
  const int shared = terms_.columns();
  const int pupil = terms_.column(1, kPupilX);
  Matrix by_steps = Matrix::Zero(shared, shared - 1);
  by_steps.topLeftCorner(pupil, pupil).setIdentity();
  by_steps.block<3, 2>(pupil, pupil) =
      frame_at(state_.rig.baseline(0, 1).normalized()).leftCols<2>().cast<long double>();
  const Matrix all = all_covariance().topLeftCorner(shared - 1, shared - 1);
  return (by_steps * all * by_steps.transpose()).cast<double>();
}

PoseCovariance SmallReference::pose_covariance(int shot) {
  return all_covariance().block<6, 6>(pose_at(shot), pose_at(shot)).cast<double>();
}

}  // namespace seamwright::test
