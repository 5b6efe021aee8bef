#include "features/ties.h"

#include <cstddef>
#include <memory>
#include <utility>

#include "base/out_of_range.h"
#include "features/pair_ties.h"
#include "sampling/lens_view.h"

namespace seamwright {

namespace {

template <class Field>
int total(const std::vector<PairTieReport>& pairs, Field field) {
  int sum = 0;
  for (const PairTieReport& pair : pairs) sum += pair.*field;
  return sum;
}

}  // namespace

TieOptions TieOptions::of_knocked_body() {
  TieOptions options;
  options.sideways_gate_rad = rad_from_deg(1.0);
  options.parallax_slack_rad = rad_from_deg(1.0);
  return options;
}

std::optional<Error> TieOptions::validate() const {
  constexpr double kHalfTurn_rad = kPi;
  for (const auto& [field, value] :
       {std::pair{"sideways_gate_rad", sideways_gate_rad},
        std::pair{"parallax_slack_rad", parallax_slack_rad}, std::pair{"margin_rad", margin_rad},
        std::pair{"reach_rad", reach_rad}}) {
    if (auto error = out_of_range(field, value, 0, kHalfTurn_rad)) return error;
  }
  if (auto error = out_of_range("nearest_m", nearest_m, 1e-3, 1e6)) return error;
  if (auto error = out_of_range("nearest_baselines", nearest_baselines, 1, 1e6)) return error;
  if (auto error = out_of_range("max_ratio", max_ratio, 0, 1)) return error;
  if (auto error = out_of_range("max_ties_per_pair", max_ties_per_pair, 1, 1e6)) return error;
  if (auto error = out_of_range("cells_psi", cells_psi, 1, 3600)) return error;
  if (auto error = out_of_range("cells_eta", cells_eta, 1, 3600)) return error;
  return refine.validate();
}

bool TieSet::fit_together() const {
  constexpr double kLeastShare = 0.3;
  return static_cast<int>(ties.size()) >= kFewest &&
         report.consistent() >= kLeastShare * report.matched();
}

TieOptions TieOptions::cold_start(double rotation_rad, double focal_share) {
  TieOptions options;
  options.sideways_gate_rad = rotation_rad;
  options.parallax_slack_rad = rotation_rad + kPi * focal_share;
  options.reach_rad = options.parallax_slack_rad;
  options.refined = false;
  options.edge_ties = false;
  options.consensus.largest_rotation_rad = 1.5 * rotation_rad;
  options.consensus.largest_focal_change = 2 * focal_share;
  return options;
}

int TieReport::matched() const { return total(pairs, &PairTieReport::matched); }
int TieReport::consistent() const { return total(pairs, &PairTieReport::consistent); }
int TieReport::kept() const { return total(pairs, &PairTieReport::kept); }

Result<TieSet> find_ties(const Pictures& frames, const Rig& rig, int shot,
                         const TieOptions& options) {
  if (auto error = options.validate()) return fail(std::move(*error));
  const auto views = views_of(frames, rig);
  if (!views) return tl::make_unexpected(views.error());
  TieSet set;
  for (int a = 0; a < rig.lens_count(); ++a) {
    for (int b = a + 1; b < rig.lens_count(); ++b) {
      const auto grid = matching_grid(rig, a, b, options.margin_rad, options.reach_rad);
      if (!grid) continue;
      const MatchedPair matched{(*views)[static_cast<std::size_t>(a)],
                                (*views)[static_cast<std::size_t>(b)], a, b, *grid};
      PairTies pair = find_pair_ties(matched, rig, shot, options);
      set.ties.insert(set.ties.end(), std::make_move_iterator(pair.ties.begin()),
                      std::make_move_iterator(pair.ties.end()));
      set.details.insert(set.details.end(), pair.details.begin(), pair.details.end());
      set.report.pairs.push_back(std::move(pair.report));
    }
  }
  return set;
}

}  // namespace seamwright
