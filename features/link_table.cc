#include "features/link_table.h"

#include <algorithm>

namespace seamwright {

namespace {

RelativePose inverse(const RelativePose& pose) {
  const Quat back = pose.rotation.conjugate();
  return {back, -(back * pose.translation)};
}

}  // namespace

LinkTable::LinkTable(std::vector<ShotLink> links) : links_(std::move(links)) {
  for (std::size_t i = 0; i < links_.size(); ++i) at_[{links_[i].shot_a, links_[i].shot_b}] = i;
}

std::optional<RelativePose> LinkTable::motion(int a, int b) const {
  if (a == b) return RelativePose{Quat::Identity(), Vec3::Zero()};
  if (const auto at = at_.find({a, b}); at != at_.end()) return links_[at->second].b_from_a;
  if (const auto at = at_.find({b, a}); at != at_.end())
    return inverse(links_[at->second].b_from_a);
  return std::nullopt;
}

std::size_t LinkTable::between(int a, int b) const {
  return at_.at({std::min(a, b), std::max(a, b)});
}

}  // namespace seamwright
