#include "jobs/learning/template_prior.h"

#include <algorithm>
#include <string>
#include <vector>

#include "solver/symmetric.h"

namespace seamwright {

SharedPrior prior_of_template(const RigTemplate& from, const BodySpread& spread,
                              const SharedTerms& terms) {
  SharedPrior prior = prior_of(spread, from.rig(), terms);
  const TermCovariance& covariance = from.solution.covariance;
  const std::vector<std::string> names = terms.names();
  std::vector<int> columns;
  for (const std::string& name : covariance.names) {
    const auto at = std::find(names.begin(), names.end(), name);
    if (at == names.end()) return prior;
    columns.push_back(static_cast<int>(at - names.begin()));
  }
  if (columns.empty()) return prior;
  const Eigen::MatrixXd information = symmetric_inverse(covariance.values);
  if (information.size() == 0) return prior;
  for (const int column : columns) {
    prior.information.row(column).setZero();
    prior.information.col(column).setZero();
  }
  prior.information(columns, columns) = information;
  return prior;
}

}  // namespace seamwright
