#include "solver/adjustment_parts.h"

#include <cmath>
#include <map>

#include "base/parallel.h"
#include "solver/symmetric.h"

namespace seamwright {

namespace {

constexpr std::size_t kTiesTogether = 256;  // one thread's work
constexpr std::size_t kLinesTogether = 16;

// Cuts what belongs together into pieces.
template <class Add>
void in_pieces(const std::vector<std::size_t>& all, std::size_t most, const Add& add) {
  for (std::size_t begin = 0; begin < all.size(); begin += most) {
    const auto from = all.begin() + static_cast<std::ptrdiff_t>(begin);
    const auto left = static_cast<std::size_t>(all.end() - from);
    add(std::vector<std::size_t>(from, from + static_cast<std::ptrdiff_t>(std::min(most, left))));
  }
}

// The shots of a tie that have unknowns of their own.
std::vector<int> shots_of(const Tie& tie, std::span<const ShotSize> sizes) {
  std::vector<int> shots = {tie.shot};
  for (const TieSight& sight : tie.sights) shots.push_back(tie.shot_of(sight));
  std::sort(shots.begin(), shots.end());
  shots.erase(std::unique(shots.begin(), shots.end()), shots.end());
  std::erase_if(shots, [&](int shot) { return sizes[static_cast<std::size_t>(shot)].all() == 0; });
  return shots;
}

ColumnPlan columns_of(const SharedTerms& terms, const std::vector<int>& shots,
                      std::span<const ShotSize> sizes) {
  ColumnPlan columns{terms};
  for (const int shot : shots) {
    const ShotSize& size = sizes[static_cast<std::size_t>(shot)];
    columns.shots.push_back({.flex = size.flex > 0 ? columns.count : -1,
                             .pose = size.pose > 0 ? columns.count + size.flex : -1,
                             .shot = shot});
    columns.count += size.all();
  }
  return columns;
}

}  // namespace

// The rows of a part, and what they cost.
class AdjustmentParts::Stack {
 public:
  Stack(Eigen::Index height, Eigen::Index columns) : rows_(height, columns + 1) {}

  void add(const Rows& rows) {
    rows_.middleRows(height_, rows.rows()) = rows;
    height_ += rows.rows();
  }
  void add_cost(double cost) { cost_ += cost; }
  [[nodiscard]] double cost() const { return cost_; }

  // A loss costs no less than its weighted rows: what is missing is a row of its own.
  [[nodiscard]] Rows packed() const {
    const Eigen::Index columns = rows_.cols();
    Eigen::MatrixXd gram = Eigen::MatrixXd::Zero(columns, columns);
    gram.selfadjointView<Eigen::Lower>().rankUpdate(rows_.topRows(height_).transpose());
    Rows packed = Rows::Zero(columns + 1, columns);
    packed.topRows(columns) = symmetric_root(gram);
    packed(columns, columns - 1) = std::sqrt(std::max(0.0, cost_ - gram(columns - 1, columns - 1)));
    return packed;
  }

 private:
  Rows rows_;
  Eigen::Index height_ = 0;
  double cost_ = 0;
};

AdjustmentParts::AdjustmentParts(const AdjustProblem& problem, const AdjustOptions& options,
                                 std::vector<TiePoint> points, std::span<const ShotSize> sizes)
    : ties_(problem.ties),
      options_(options),
      enough_(std::clamp(0.1 * options.cost_tolerance, 1e-8, 1e-6)),
      lines_(see_lines(problem.start, options.lines)),
      points_(std::move(points)),
      tried_points_(points_),
      tried_costs_(points_.size(), 0.0) {
  const std::span<const Tie> ties = problem.ties;
  const std::vector<ShotState>& shots = problem.shots;
  const SharedTerms& terms = problem.terms;
  networks_ = std::any_of(shots.begin(), shots.end(),
                          [](const ShotState& shot) { return shot.pose.network != kNoNetwork; });
  std::map<std::vector<int>, std::vector<std::size_t>> together;
  for (std::size_t i = 0; i < ties.size(); ++i) {
    const bool alone = shots[static_cast<std::size_t>(ties[i].shot)].pose.network == kNoNetwork;
    prepared_.push_back({DepthBelief(options, ties[i], i, alone), {}});
    if (!points_[i].usable) continue;
    for (const TieSight& sight : ties[i].sights) {
      prepared_[i].white.push_back(whitener(sight.covariance_px2));
    }
    together[shots_of(ties[i], sizes)].push_back(i);
  }
  for (const auto& entry : together) {
    const std::vector<int>& of = entry.first;
    in_pieces(entry.second, kTiesTogether, [&](std::vector<std::size_t> piece) {
      add_part({.columns = columns_of(terms, of, sizes), .ties = std::move(piece)});
    });
  }
  std::vector<std::size_t> seen;
  for (std::size_t i = 0; i < lines_.size(); ++i) {
    normals_.push_back(lines_[i].normal);
    if (!lines_[i].points.empty()) seen.push_back(i);
  }
  tried_normals_ = normals_;
  in_pieces(seen, kLinesTogether, [&](std::vector<std::size_t> piece) {
    add_part({.columns = {terms}, .lines = std::move(piece)});
  });
}

void AdjustmentParts::add_part(const Part& part) {
  if (part.columns.count == 0) return;  // nothing moves it
  parts_.push_back(part);
  Part& added = parts_.back();
  for (const std::size_t i : part.ties) {
    added.height +=
        2 * static_cast<Eigen::Index>(ties_[i].sights.size()) + prepared_[i].depth.count() - 3;
  }
  for (const std::size_t i : part.lines) {
    added.height += static_cast<Eigen::Index>(lines_[i].points.size()) - 2;
  }
  added.rows = Rows::Zero(added.columns.count + 2, added.columns.count + 1);
}

void AdjustmentParts::evaluate(const Rig& rig, ShotStates shots, bool with_jacobian, bool tried) {
  const Asked asked{rig, SeeingLenses(rig, shots), with_jacobian, tried};
  parallel_for(0, static_cast<int>(parts_.size()),
               [&](int i) { evaluate(parts_[static_cast<std::size_t>(i)], asked); });
}

void AdjustmentParts::evaluate(Part& part, const Asked& asked) {
  Stack stack(asked.with_jacobian ? part.height : 0, part.columns.count);
  for (const std::size_t i : part.ties) add_tie(i, part, asked, stack);
  for (const std::size_t i : part.lines) add_line(i, part, asked, stack);
  if (asked.with_jacobian) {
    part.rows = stack.packed();
    return;
  }
  // Only the size counts.
  part.rows.rightCols<1>().setZero();
  part.rows(0, part.columns.count) = std::sqrt(stack.cost());
}

// A trial starts from what was accepted; what is accepted was tried before, but for the first.
void AdjustmentParts::add_tie(std::size_t i, const Part& part, const Asked& asked, Stack& stack) {
  const std::vector<SeeingLens> places = places_of(ties_[i], asked.rig, asked.places);
  const SeenTie seen = seen_tie(i, places);
  if (!asked.with_jacobian || !asked.tried) {
    tried_points_[i] = points_[i];
    tried_costs_[i] = settle(seen, tried_points_[i], {.enough = enough_});
  }
  stack.add_cost(tried_costs_[i]);
  if (!asked.with_jacobian) return;
  points_[i] = tried_points_[i];
  stack.add(rows_of(seen, points_[i], part.columns));
}

std::vector<CellRows> AdjustmentParts::cell_rows(const Rig& rig, ShotStates shots) const {
  const SeeingLenses places(rig, shots);
  std::vector<CellRows> all(parts_.size());
  parallel_for(0, static_cast<int>(parts_.size()), [&](int i) {
    const auto p = static_cast<std::size_t>(i);
    all[p] = cell_rows(parts_[p], rig, places);
  });
  return all;
}

CellRows AdjustmentParts::cell_rows(const Part& part, const Rig& rig,
                                    const SeeingLenses& places) const {
  const auto cell_of = [&](const Tie& tie, const TieSight& sight) {
    const Lens& lens = rig.lenses[static_cast<std::size_t>(sight.lens)].lens;
    return Cell{tie.shot_of(sight), sight.lens, part_of_field(lens, sight.px)};
  };
  std::vector<std::size_t> counted;
  for (const std::size_t i : part.ties) {
    if (!networks_ || !prepared_[i].depth.is_lost_with_sights()) counted.push_back(i);
  }
  std::map<Cell, int> columns;
  for (const std::size_t i : counted) {
    for (const TieSight& sight : ties_[i].sights) columns[cell_of(ties_[i], sight)] = 0;
  }
  CellRows rows;
  for (auto& [cell, column] : columns) {
    column = static_cast<int>(2 * rows.cells.size());
    rows.cells.push_back(cell);
  }
  const Eigen::Index count = part.columns.count;
  rows.cross = Eigen::MatrixXd::Zero(count, static_cast<Eigen::Index>(2 * columns.size()));
  rows.score = Eigen::VectorXd::Zero(rows.cross.cols());
  for (const std::size_t i : counted) {
    const Tie& tie = ties_[i];
    const std::vector<SeeingLens> at = places_of(tie, rig, places);
    const Rows all = rows_with_shifts(seen_tie(i, at), points_[i], part.columns);
    const Eigen::Index more = all.cols() - count - 1;
    std::vector<int> to;
    for (const TieSight& sight : tie.sights) {
      to.push_back(columns.at(cell_of(tie, sight)));
      to.push_back(to.back() + 1);
    }
    const Eigen::MatrixXd shifts = all.rightCols(more);
    const Eigen::MatrixXd cross = all.leftCols(count).transpose() * shifts;
    const Eigen::VectorXd score = shifts.transpose() * all.col(count);
    const Eigen::MatrixXd own = shifts.transpose() * shifts;
    for (Eigen::Index k = 0; k < more; ++k) {
      const int column = to[static_cast<std::size_t>(k)];
      rows.cross.col(column) += cross.col(k);
      rows.score[column] += score[k];
      for (Eigen::Index j = 0; j < more; ++j) {
        rows.own.emplace_back(to[static_cast<std::size_t>(j)], column, own(j, k));
      }
    }
  }
  return rows;
}

std::vector<SeeingLens> AdjustmentParts::places_of(const Tie& tie, const Rig& rig,
                                                   const SeeingLenses& places) {
  std::vector<SeeingLens> at;
  at.reserve(tie.sights.size());
  for (const TieSight& sight : tie.sights) at.push_back(places.of(rig, tie, sight));
  return at;
}

SeenTie AdjustmentParts::seen_tie(std::size_t i, std::span<const SeeingLens> at) const {
  const double scale =
      options_.robust_scale * std::sqrt(static_cast<double>(ties_[i].sights.size()));
  return {ties_[i], prepared_[i].depth, at, prepared_[i].white, scale};
}

void AdjustmentParts::add_line(std::size_t i, const Part& part, const Asked& asked, Stack& stack) {
  const SeenLine& line = lines_[i];
  const Lens& lens = asked.rig.lenses[static_cast<std::size_t>(line.lens)].lens;
  tried_normals_[i] = normals_[i];
  stack.add_cost(settle(lens, line, options_.robust_scale, tried_normals_[i]));
  if (!asked.with_jacobian) return;
  normals_[i] = tried_normals_[i];
  stack.add(rows_of(lens, line, options_.robust_scale, normals_[i], part.columns));
}

}  // namespace seamwright
