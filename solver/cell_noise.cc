#include "solver/cell_noise.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <utility>

#include <Eigen/LU>

namespace seamwright {

namespace {

using Sparse = Eigen::SparseMatrix<double>;

Sparse own_of(const CellRows& rows) {
  const auto columns = static_cast<Eigen::Index>(2 * rows.cells.size());
  Sparse own(columns, columns);
  own.setFromTriplets(rows.own.begin(), rows.own.end());
  return own;
}

// Adds up what the cells of one lens say in all shots: columns of a cell to those of its part.
Sparse over_shots(const std::vector<Cell>& cells) {
  std::map<std::pair<int, int>, Eigen::Index> places;
  for (const Cell& cell : cells) {
    places.emplace(std::pair{cell.lens, cell.part}, static_cast<Eigen::Index>(places.size()));
  }
  std::vector<Eigen::Triplet<double>> ones;
  for (std::size_t i = 0; i < cells.size(); ++i) {
    const Eigen::Index to = places.at({cells[i].lens, cells[i].part});
    for (int axis = 0; axis < 2; ++axis) {
      ones.emplace_back(static_cast<int>(2 * i) + axis, static_cast<int>(2 * to) + axis, 1.0);
    }
  }
  Sparse sum(static_cast<Eigen::Index>(2 * cells.size()),
             static_cast<Eigen::Index>(2 * places.size()));
  sum.setFromTriplets(ones.begin(), ones.end());
  return sum;
}

// ‖N − XᵀY‖² without that matrix, which has the square of all cells.
double square_of_rest(const Sparse& own, const Eigen::MatrixXd& cross,
                      const Eigen::MatrixXd& carried, const Eigen::MatrixXd& covariance) {
  double mixed = 0;
  for (int k = 0; k < own.outerSize(); ++k) {
    for (Sparse::InnerIterator it(own, k); it; ++it) {
      mixed += it.value() * cross.col(it.row()).dot(carried.col(it.col()));
    }
  }
  const Eigen::MatrixXd taken = covariance * (cross * cross.transpose());
  return own.squaredNorm() - 2 * mixed + taken.cwiseProduct(taken.transpose()).sum();
}

double ratio_or_none(double value, double by) { return by > 0 ? std::max(0.0, value / by) : 0; }

}  // namespace

int part_of_field(const Lens& lens, const Vec2& px) {
  constexpr double kInner = 0.4;
  constexpr double kMiddle = 0.75;
  const Vec2 off = px - lens.centre_px();
  const double share = off.norm() / lens.rim_radius_px();
  const int zone = share < kInner ? 0 : share < kMiddle ? 1 : 2;
  const int sectors = 4 * (zone + 1);
  const double turns = std::atan2(off.y(), off.x()) / (2 * kPi) + 0.5;
  const int before = zone == 0 ? 0 : zone == 1 ? 4 : 12;
  return before + std::min(sectors - 1, static_cast<int>(turns * sectors));
}

SharedNoise estimate_shared_noise(const CellRows& rows, const Eigen::MatrixXd& covariance) {
  if (rows.cells.empty()) return {};
  const Sparse own = own_of(rows);
  const Eigen::MatrixXd carried = covariance * rows.cross;
  const double excess =
      rows.score.squaredNorm() - (own.diagonal().sum() - rows.cross.cwiseProduct(carried).sum());
  const double square = square_of_rest(own, rows.cross, carried, covariance);

  const Sparse sum = over_shots(rows.cells);
  const Eigen::MatrixXd mixed =
      Eigen::MatrixXd(own * sum) - rows.cross.transpose() * (carried * sum);
  const Eigen::MatrixXd lenses = sum.transpose() * mixed;
  const double excess_of_lenses = (sum.transpose() * rows.score).squaredNorm() - lenses.trace();
  const double square_of_lenses = lenses.squaredNorm();
  const double square_of_both = mixed.squaredNorm();

  double in_a_shot = ratio_or_none(excess, square);
  double in_all_shots = 0;
  const double determinant = square * square_of_lenses - square_of_both * square_of_both;
  // In a single shot both are the same.
  constexpr double kTellApart = 1e-6;
  if (determinant > kTellApart * square * square_of_lenses) {
    const double first = (square_of_lenses * excess - square_of_both * excess_of_lenses);
    const double second = (square * excess_of_lenses - square_of_both * excess);
    if (first >= 0 && second >= 0) {
      in_a_shot = first / determinant;
      in_all_shots = second / determinant;
    } else if (first < 0) {
      in_a_shot = 0;
      in_all_shots = ratio_or_none(excess_of_lenses, square_of_lenses);
    }
  }
  return {std::sqrt(in_a_shot), std::sqrt(in_all_shots)};
}

Eigen::MatrixXd widened(const Eigen::MatrixXd& covariance, const CellRows& rows,
                        const SharedNoise& noise) {
  if (rows.cells.empty()) return covariance;
  const Eigen::MatrixXd carried = covariance * rows.cross;
  const Eigen::MatrixXd of_lenses = carried * over_shots(rows.cells);
  return covariance + std::pow(noise.in_a_shot_px, 2) * (carried * carried.transpose()) +
         std::pow(noise.in_all_shots_px, 2) * (of_lenses * of_lenses.transpose());
}

CellRows joined(const std::vector<CellRows>& parts, const std::vector<std::vector<int>>& columns,
                int unknowns) {
  std::map<Cell, int> places;
  for (const CellRows& part : parts) {
    for (const Cell& cell : part.cells) places[cell] = 0;
  }
  CellRows all;
  for (auto& [cell, place] : places) {
    place = static_cast<int>(all.cells.size());
    all.cells.push_back(cell);
  }
  const auto width = static_cast<Eigen::Index>(2 * all.cells.size());
  all.cross = Eigen::MatrixXd::Zero(unknowns, width);
  all.score = Eigen::VectorXd::Zero(width);
  for (std::size_t p = 0; p < parts.size(); ++p) {
    const CellRows& part = parts[p];
    std::vector<int> to;
    for (const Cell& cell : part.cells) {
      to.push_back(2 * places.at(cell));
      to.push_back(2 * places.at(cell) + 1);
    }
    all.cross(columns[p], to) += part.cross;
    all.score(to) += part.score;
    for (const Eigen::Triplet<double>& one : part.own) {
      all.own.emplace_back(to[static_cast<std::size_t>(one.row())],
                           to[static_cast<std::size_t>(one.col())], one.value());
    }
  }
  return all;
}

}  // namespace seamwright
