#include "solver/elimination.h"

#include <cmath>

#include <Eigen/Cholesky>

namespace seamwright {

void TieStack::begin(const std::vector<int>& columns) {
  columns_ = &columns;
  const auto width = static_cast<Eigen::Index>(columns.size());
  if (rows_.cols() == width) return;
  rows_.resize(kHeight, width);
  eliminated_.resize(kHeight, width);
  gradient_.setZero(width);
  product_.resize(width, width);
}

// Pivoted Cholesky steps of I − BN⁻¹Bᵀ. What two of them leave is the point's damping and rounding.
void TieStack::add_pair(const TieRows& rows, const EliminatedPoint& point) {
  const auto by_columns = rows.by_columns.topRows<4>();
  const auto by_point = rows.by_point.topRows<4>();
  const Eigen::Matrix<double, 4, 3> back = by_point * point.inverse;
  Eigen::Matrix4d left = Eigen::Matrix4d::Identity() - back * by_point.transpose();
  for (int k = 0; k < 2; ++k) {
    Eigen::Index pivot = 0;
    const double largest = left.diagonal().maxCoeff(&pivot);
    if (!(largest > 1e-12)) break;
    const Eigen::Vector4d root = left.col(pivot) / std::sqrt(largest);
    rows_.row(filled_++).noalias() = root.transpose() * by_columns;
    left -= root * root.transpose();
  }
}

void TieStack::add(const std::vector<int>& columns, const TieRows& rows, const Mat3& point_normal,
                   EliminatedPoint& out, Reduced& sum) {
  const Eigen::Index height = rows.by_columns.rows();
  const bool same = columns_ != nullptr && (columns_ == &columns || *columns_ == columns);
  const bool full = filled_ + height > kHeight || eliminated_filled_ + 3 > kHeight;
  if (!same || full) flush(sum);
  if (!same) begin(columns);
  if (height > rows_.rows()) rows_.resize(height, rows_.cols());  // longer than the whole stack

  out.inverse = point_normal.inverse();
  out.by_columns.noalias() = rows.by_point.transpose().lazyProduct(rows.by_columns);
  const Eigen::VectorXd residual = rows.residual - rows.by_point * (out.inverse * out.gradient);
  gradient_.noalias() += rows.by_columns.transpose() * residual;
  if (height == 4) {
    add_pair(rows, out);
    return;
  }
  const Eigen::LLT<Mat3> factor(point_normal);
  eliminated_.middleRows<3>(eliminated_filled_) = factor.matrixL().solve(out.by_columns);
  eliminated_filled_ += 3;
  rows_.middleRows(filled_, height) = rows.by_columns;
  filled_ += height;
}

void TieStack::flush(Reduced& sum) {
  if (filled_ == 0) return;
  const auto rows = rows_.topRows(filled_);
  product_.setZero();
  product_.selfadjointView<Eigen::Lower>().rankUpdate(rows.transpose());
  if (eliminated_filled_ > 0) {
    const auto eliminated = eliminated_.topRows(eliminated_filled_);
    product_.selfadjointView<Eigen::Lower>().rankUpdate(eliminated.transpose(), -1);
  }
  const std::vector<int>& columns = *columns_;
  for (std::size_t b = 0; b < columns.size(); ++b) {
    const auto from = static_cast<Eigen::Index>(b);
    sum.gradient[columns[b]] += gradient_[from];
    for (std::size_t a = b; a < columns.size(); ++a) {
      sum.normal(columns[a], columns[b]) += product_(static_cast<Eigen::Index>(a), from);
    }
  }
  gradient_.setZero();
  filled_ = 0;
  eliminated_filled_ = 0;
}

}  // namespace seamwright
