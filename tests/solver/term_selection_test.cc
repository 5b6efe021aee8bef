#include "solver/term_selection.h"

#include <algorithm>
#include <vector>

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <catch2/catch.hpp>

#include "solver/body_spread.h"

namespace seamwright {
namespace {

TEST_CASE("terms that the data do not support go to nominal, the rest to its conditional optimum") {
  const SharedTerms terms = all_rig_terms_and_travel(2);
  const int n = terms.columns();
  // Independent terms of unit sigma, but radial_3 and radial_4 of lens 1 nearly the same thing.
  Eigen::MatrixXd covariance = Eigen::MatrixXd::Identity(n, n);
  const int third = terms.column(1, kRadial3);
  const int fourth = terms.column(1, kRadial4);
  covariance(third, fourth) = covariance(fourth, third) = -0.99;
  Eigen::VectorXd deviation = Eigen::VectorXd::Constant(n, 0.5);
  deviation[terms.column(0, kAspect)] = 4;  // supported: eight sigmas squared for two terms
  deviation[third] = 1.3;
  deviation[fourth] = 1.2;  // 2.5 together, while the difference is known to be within 0.14

  const TermSelection selection = select_terms(terms, deviation, covariance);
  const auto dropped = [&](int lens, int slot) {
    return std::find(selection.dropped.begin(), selection.dropped.end(),
                     terms.column(lens, slot)) != selection.dropped.end();
  };
  // Never up for choice.
  CHECK_FALSE(dropped(0, kFocal));
  CHECK_FALSE(dropped(1, kPupilZ));
  CHECK_FALSE(dropped(0, kRadial1));
  // Half a sigma each.
  CHECK(dropped(0, kRadial3));
  CHECK(dropped(0, kPupilTravel));
  CHECK(dropped(0, kDecentreU));
  CHECK(dropped(0, kDecentreV));
  // A pair leaves or stays together.
  CHECK_FALSE(dropped(0, kAspect));
  CHECK_FALSE(dropped(0, kShear));
  // One of two that say the same must stay: together they are strongly supported.
  CHECK_FALSE((dropped(1, kRadial3) && dropped(1, kRadial4)));
  for (const int column : selection.dropped) CHECK(selection.deviation[column] == 0);
  CHECK(selection.deviation[terms.column(0, kFocal)] == 0.5);

  // What stays is the optimum given that the rest is nominal.
  std::vector<int> kept;
  for (int c = 0; c < n; ++c) {
    if (std::find(selection.dropped.begin(), selection.dropped.end(), c) ==
        selection.dropped.end()) {
      kept.push_back(c);
    }
  }
  const Eigen::MatrixXd information = covariance.inverse();
  const Eigen::VectorXd pull = information * deviation;
  const Eigen::MatrixXd own = information(kept, kept);
  const Eigen::VectorXd expected = own.ldlt().solve(Eigen::VectorXd(pull(kept)));
  CHECK((Eigen::VectorXd(selection.deviation(kept)) - expected).norm() < 1e-9);
}

}  // namespace
}  // namespace seamwright
