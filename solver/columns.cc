#include "solver/columns.h"

#include <algorithm>

namespace seamwright {

Columns::Columns(const SharedTerms& terms, ShotStates shots, bool free_flex)
    : shared_(terms.columns()), lens_count_(terms.lens_count()), free_flex_(free_flex) {
  count_ = shared_;
  if (free_flex_) count_ += 3 * static_cast<int>(shots.size()) * (lens_count_ - 1);
  std::vector<int> begun;
  for (const ShotState& shot : shots) {
    pose_.push_back(kFixed);
    const int network = shot.pose.network;
    if (network == kNoNetwork) continue;
    if (std::find(begun.begin(), begun.end(), network) == begun.end()) {
      begun.push_back(network);
      continue;
    }
    pose_.back() = count_;
    count_ += 6;
  }
}

TieColumns::TieColumns(const Tie& tie, const SharedTerms& terms, const Columns& all) {
  const auto first_of_lens = [&](int lens) {
    const auto& slots = terms.free_slots(lens);
    return slots.empty() ? kFixed : terms.column(lens, slots.front());
  };
  const auto add = [&](int first, int width) {
    for (int k = 0; first != kFixed && k < width; ++k) columns.push_back(first + k);
  };
  for (const TieSight& sight : tie.sights) {
    const int seen = tie.shot_of(sight);
    add(first_of_lens(sight.lens), static_cast<int>(terms.free_slots(sight.lens).size()));
    add(all.flex(seen, sight.lens), 3);
    if (seen == tie.shot) continue;
    add(all.pose(tie.shot), 6);
    add(all.pose(seen), 6);
  }
  std::sort(columns.begin(), columns.end());
  columns.erase(std::unique(columns.begin(), columns.end()), columns.end());

  const auto place = [&](int first) {
    if (first == kFixed) return kFixed;
    const auto at = std::lower_bound(columns.begin(), columns.end(), first);
    return static_cast<int>(at - columns.begin());
  };
  for (const TieSight& sight : tie.sights) {
    const int seen = tie.shot_of(sight);
    Blocks blocks{.lens = place(first_of_lens(sight.lens)),
                  .flex = place(all.flex(seen, sight.lens))};
    if (seen != tie.shot) {
      blocks.own_pose = place(all.pose(tie.shot));
      blocks.seen_pose = place(all.pose(seen));
    }
    sights.push_back(blocks);
  }
}

}  // namespace seamwright
