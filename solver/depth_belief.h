#pragma once

// What is believed of a tie's inverse depth ρ beside its sights, as rows whose squares are the
// cost.
//
//     lean      √(2(ρ + c)/λ)            its square leans ρ away from the body by the same force
//                                        everywhere; c is some metres⁻¹ behind infinity
//     spread    ρ / σ                    σ that of a tie marked far, and of the floor ρ_0 where
//                                        ρ ≤ ρ_0: then of ρ − ρ_0, weighed together
//     known     √(w log(1 + off²))       off = (ρ − m)/s, with the sign of off

#include <array>

#include "projection/tie.h"
#include "solver/adjust.h"

namespace seamwright {

class DepthBelief {
 public:
  static constexpr int kMostRows = 3;
  struct Row {
    double value = 0;
    double slope = 0;
  };
  using Rows = std::array<Row, kMostRows>;

  DepthBelief() = default;
  /// `alone`: the tie's shot belongs to no network.
  DepthBelief(const AdjustOptions& options, const Tie& tie, std::size_t index, bool alone);

  /// How many rows there are: the first ones of rows_at().
  [[nodiscard]] int count() const { return count_; }
  [[nodiscard]] Rows rows_at(double inverse_depth) const;
  /// Whether a loss takes these rows together with those of the sights: for shots that stand alone
  /// (tie_rows.h says why).
  [[nodiscard]] bool is_lost_with_sights() const { return alone_; }

 private:
  DepthPrior known_;
  double lean_ = 0;  // 1/λ
  double floor_ = 0;
  double floor_information_ = 0;  // 1/σ² below the floor
  double far_information_ = 0;
  int count_ = 0;
  bool alone_ = false;
};

}  // namespace seamwright
