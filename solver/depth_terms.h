#pragma once

#include "projection/tie.h"
#include "solver/adjust.h"

namespace seamwright {

/// What is believed of one tie's inverse depth beside its sights; a cost and its derivatives.
class DepthTerms {
 public:
  /// `alone`: the tie's shot belongs to no network.
  DepthTerms(const AdjustOptions& options, const Tie& tie, std::size_t index, bool alone);

  [[nodiscard]] double cost(double inverse_depth) const;
  /// Adds half the cost's slope and its curvature (never negative).
  void add(double inverse_depth, double& normal, double& gradient) const;

 private:
  DepthPrior known_;
  double lean_ = 0;               // slope of half the cost
  double floor_information_ = 0;  // below zero
  double far_information_ = 0;
};

}  // namespace seamwright
