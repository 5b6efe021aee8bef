#include "solver/reduced_tie.h"

#include <vector>

#include "solver/tie_rows.h"

namespace seamwright {

ReducedTie reduce_tie(const Rig& rig, const Tie& tie, const TiePoint& point,
                      const SharedTerms& terms, const DepthKnowledge& depth) {
  AdjustOptions believed{.far_sigma_per_m = depth.far_sigma_per_m};
  // locate_tie() ends at exactly 0 where a tie would stand behind infinity.
  if (point.inverse_depth <= 0) believed.depth_floor_sigma_per_m = depth.floor_sigma_per_m;
  const DepthBelief belief(believed, tie, 0, false);
  std::vector<SeeingLens> places;
  std::vector<Mat2> white;
  for (const TieSight& sight : tie.sights) {
    places.push_back(seeing_lens(rig, tie, sight, {}));
    white.push_back(whitener(sight.covariance_px2));
  }
  const Rows rows = rows_of({tie, belief, places, white}, point, {terms});
  return {rows.rightCols<1>(), rows.leftCols(terms.columns())};
}

}  // namespace seamwright
