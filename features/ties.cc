#include "features/ties.h"

#include <cstddef>
#include <memory>

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
  const auto views = views_of(frames, rig);
  if (!views) return tl::make_unexpected(views.error());
  TieSet set;
  for (int a = 0; a < rig.lens_count(); ++a) {
    for (int b = a + 1; b < rig.lens_count(); ++b) {
      const auto grid = matching_grid(rig, a, b, options.margin_rad, options.reach_rad);
      if (!grid) continue;
      PairTies pair =
          find_pair_ties((*views)[static_cast<std::size_t>(a)],
                         (*views)[static_cast<std::size_t>(b)], rig, a, b, *grid, shot, options);
      set.ties.insert(set.ties.end(), std::make_move_iterator(pair.ties.begin()),
                      std::make_move_iterator(pair.ties.end()));
      set.details.insert(set.details.end(), pair.details.begin(), pair.details.end());
      set.report.pairs.push_back(std::move(pair.report));
    }
  }
  return set;
}

}  // namespace seamwright
