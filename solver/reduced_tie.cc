#include "solver/reduced_tie.h"

#include <cmath>

#include <Eigen/QR>

#include "solver/sight.h"

namespace seamwright {

namespace {

// Information on ρ around zero. locate_tie() ends at exactly 0 where a tie would stand behind
// infinity.
double depth_information(const Tie& tie, const TiePoint& point, const DepthKnowledge& depth) {
  double information = 0;
  if (tie.range == TieRange::far) information += std::pow(depth.far_sigma_per_m, -2);
  if (point.inverse_depth <= 0 && depth.floor_sigma_per_m > 0) {
    information += std::pow(depth.floor_sigma_per_m, -2);
  }
  return information;
}

}  // namespace

ReducedTie reduce_tie(const Rig& rig, const Tie& tie, const TiePoint& point,
                      const SharedTerms& terms, const DepthKnowledge& depth) {
  const double information = depth_information(tie, point, depth);
  const auto sights = static_cast<Eigen::Index>(tie.sights.size());
  const Eigen::Index rows = 2 * sights + (information > 0 ? 1 : 0);
  Eigen::VectorXd residual = Eigen::VectorXd::Zero(rows);
  Eigen::MatrixXd by_point = Eigen::MatrixXd::Zero(rows, 3);
  Eigen::MatrixXd by_terms = Eigen::MatrixXd::Zero(rows, terms.columns());
  for (Eigen::Index j = 0; j < sights; ++j) {
    const TieSight& sight = tie.sights[static_cast<std::size_t>(j)];
    const LinearSight linear =
        linearise(place_of(rig, tie, sight, {}), sight, whitener(sight.covariance_px2), point);
    residual.segment<2>(2 * j) = linear.residual;
    by_point.middleRows<2>(2 * j) = linear.by_point;
    for (int slot = 0; slot < kSlotCount; ++slot) {
      const int column = terms.column(sight.lens, slot);
      if (column >= 0) by_terms.block<2, 1>(2 * j, column) = linear.by_shared.col(slot);
    }
  }
  if (information > 0) {
    residual[rows - 1] = std::sqrt(information) * point.inverse_depth;
    by_point(rows - 1, 2) = std::sqrt(information);
  }
  // Rows orthogonal to everything the point can do: the rest of its QR basis.
  const Eigen::HouseholderQR<Eigen::MatrixXd> qr(by_point);
  const Eigen::MatrixXd basis = qr.householderQ() * Eigen::MatrixXd::Identity(rows, rows);
  const auto rest = basis.rightCols(rows - 3).transpose();
  return {rest * residual, rest * by_terms};
}

}  // namespace seamwright
