#include "solver/term_selection.h"

#include <algorithm>
#include <limits>

#include <Eigen/Cholesky>

namespace seamwright {

namespace {

using Columns = std::vector<int>;

// Terms that come and go together.
std::vector<Columns> candidates(const SharedTerms& terms) {
  const std::vector<std::vector<int>> groups = {
      {kRadial3}, {kRadial4}, {kAspect, kShear}, {kDecentreU, kDecentreV}, {kPupilTravel}};
  std::vector<Columns> found;
  for (int lens = 0; lens < terms.lens_count(); ++lens) {
    for (const std::vector<int>& slots : groups) {
      Columns columns;
      for (const int slot : slots) {
        if (terms.column(lens, slot) >= 0) columns.push_back(terms.column(lens, slot));
      }
      if (!columns.empty()) found.push_back(std::move(columns));
    }
  }
  return found;
}

// The group's columns of the gain Σ Σ_gg⁻¹.
Eigen::MatrixXd gain_of(const Columns& group, const Eigen::MatrixXd& covariance) {
  const Eigen::MatrixXd own = covariance(group, group);
  return own.ldlt().solve(Eigen::MatrixXd(covariance(group, Eigen::all))).transpose();
}

double wald(const Columns& group, const Eigen::VectorXd& deviation,
            const Eigen::MatrixXd& covariance) {
  const Eigen::VectorXd x = deviation(group);
  const Eigen::MatrixXd own = covariance(group, group);
  return x.dot(own.ldlt().solve(x));
}

}  // namespace

TermSelection select_terms(const SharedTerms& terms, Eigen::VectorXd deviation,
                           Eigen::MatrixXd covariance, double penalty) {
  std::vector<Columns> open = candidates(terms);
  TermSelection selection;
  while (!open.empty()) {
    std::size_t weakest = 0;
    double least = std::numeric_limits<double>::infinity();
    for (std::size_t i = 0; i < open.size(); ++i) {
      const double share =
          wald(open[i], deviation, covariance) / static_cast<double>(open[i].size());
      if (share < least) {
        least = share;
        weakest = i;
      }
    }
    if (!(least < penalty)) break;
    const Columns group = open[weakest];
    open.erase(open.begin() + static_cast<std::ptrdiff_t>(weakest));
    const Eigen::MatrixXd gain = gain_of(group, covariance);
    deviation -= gain * Eigen::VectorXd(deviation(group));
    covariance -= gain * Eigen::MatrixXd(covariance(group, Eigen::all));
    selection.dropped.insert(selection.dropped.end(), group.begin(), group.end());
  }
  deviation(selection.dropped).setZero();  // to the last bit
  std::sort(selection.dropped.begin(), selection.dropped.end());
  selection.deviation = std::move(deviation);
  return selection;
}

}  // namespace seamwright
