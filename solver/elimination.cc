#include "solver/elimination.h"

#include <Eigen/Cholesky>

namespace seamwright {

void TieStack::begin(const std::vector<int>& columns) {
  columns_ = &columns;
  const auto width = static_cast<Eigen::Index>(columns.size());
  if (rows_.cols() == width) return;
  rows_.resize(kHeight, width);
  residual_.resize(kHeight);
  eliminated_.resize(kHeight, width);
  eliminated_gradient_.resize(kHeight);
  product_.resize(width, width);
}

void TieStack::add(const std::vector<int>& columns, const TieRows& rows, const Mat3& point_normal,
                   EliminatedPoint& out, Reduced& sum) {
  const Eigen::Index height = rows.by_columns.rows();
  const bool same = columns_ != nullptr && (columns_ == &columns || *columns_ == columns);
  const bool full = filled_ + height > kHeight || eliminated_filled_ + 3 > kHeight;
  if (!same || full) flush(sum);
  if (!same) begin(columns);
  if (height > rows_.rows()) {  // a track longer than the whole stack
    rows_.resize(height, rows_.cols());
    residual_.resize(height);
  }

  const Eigen::LLT<Mat3> factor(point_normal);
  out.inverse = point_normal.inverse();
  out.by_columns = rows.by_point.transpose().lazyProduct(rows.by_columns);
  eliminated_.middleRows<3>(eliminated_filled_) = factor.matrixL().solve(out.by_columns);
  eliminated_gradient_.segment<3>(eliminated_filled_) = factor.matrixL().solve(out.gradient);
  eliminated_filled_ += 3;
  rows_.middleRows(filled_, height) = rows.by_columns;
  residual_.segment(filled_, height) = rows.residual;
  filled_ += height;
}

void TieStack::flush(Reduced& sum) {
  if (filled_ == 0) return;
  const auto rows = rows_.topRows(filled_);
  const auto eliminated = eliminated_.topRows(eliminated_filled_);
  product_.setZero();
  product_.selfadjointView<Eigen::Lower>().rankUpdate(rows.transpose());
  product_.selfadjointView<Eigen::Lower>().rankUpdate(eliminated.transpose(), -1);
  const Eigen::VectorXd gradient =
      rows.transpose() * residual_.head(filled_) -
      eliminated.transpose() * eliminated_gradient_.head(eliminated_filled_);
  const std::vector<int>& columns = *columns_;
  for (std::size_t b = 0; b < columns.size(); ++b) {
    const auto from = static_cast<Eigen::Index>(b);
    sum.gradient[columns[b]] += gradient[from];
    for (std::size_t a = b; a < columns.size(); ++a) {
      sum.normal(columns[a], columns[b]) += product_(static_cast<Eigen::Index>(a), from);
    }
  }
  filled_ = 0;
  eliminated_filled_ = 0;
}

}  // namespace seamwright
