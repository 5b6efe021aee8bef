#pragma once

// Which column of the reduced normal equations belongs to what: the shared terms first, then the
// flex of every shot and lens, then the pose of every shot that is not its network's first.

#include <span>
#include <vector>

#include "projection/tie.h"
#include "solver/shared_terms.h"
#include "solver/shot_state.h"

namespace seamwright {

inline constexpr int kFixed = -1;

class Columns {
 public:
  Columns(const SharedTerms& terms, ShotStates shots, bool free_flex);

  [[nodiscard]] int count() const { return count_; }
  [[nodiscard]] int shared() const { return shared_; }
  /// First of three, or kFixed.
  [[nodiscard]] int flex(int shot, int lens) const {
    if (!free_flex_ || lens == 0) return kFixed;
    return shared_ + 3 * (shot * (lens_count_ - 1) + lens - 1);
  }
  /// First of six, or kFixed.
  [[nodiscard]] int pose(int shot) const { return pose_[static_cast<std::size_t>(shot)]; }

 private:
  int shared_ = 0;
  int lens_count_ = 0;
  bool free_flex_ = false;
  std::vector<int> pose_;
  int count_ = 0;
};

/// The columns that one tie touches, and where in that list each of its sights' blocks begins.
struct TieColumns {
  struct Blocks {
    int lens = kFixed;
    int flex = kFixed;
    int own_pose = kFixed;
    int seen_pose = kFixed;
  };
  std::vector<int> columns;  ///< ascending
  std::vector<Blocks> sights;

  TieColumns(const Tie& tie, const SharedTerms& terms, const Columns& all);
};

}  // namespace seamwright
