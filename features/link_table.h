#pragma once

#include <cstddef>
#include <map>
#include <optional>
#include <utility>
#include <vector>

#include "features/shot_link.h"

namespace seamwright {

/// The links of a set of shots, by the shots that they join.
class LinkTable {
 public:
  explicit LinkTable(std::vector<ShotLink> links);

  [[nodiscard]] const std::vector<ShotLink>& links() const { return links_; }
  [[nodiscard]] ShotLink& at(std::size_t link) { return links_[link]; }
  [[nodiscard]] std::vector<ShotLink> take() && { return std::move(links_); }

  /// From the rig of shot a to that of shot b; empty without a link.
  [[nodiscard]] std::optional<RelativePose> motion(int a, int b) const;
  /// Index of the link between two shots, in whatever order; there must be one.
  [[nodiscard]] std::size_t between(int a, int b) const;

 private:
  std::vector<ShotLink> links_;
  std::map<std::pair<int, int>, std::size_t> at_;
};

}  // namespace seamwright
