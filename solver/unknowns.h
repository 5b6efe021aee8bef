#pragma once

// What the adjustment moves, in blocks of one array.
//
//     shared terms    how far they have stepped from the start                       their columns
//     a shot          rotation vectors of its flex, lens 1 and up, where flex is     3 a lens
//                     free; then its pose, a rotation vector and the position,       6
//                     but for the first shot of a network, which is its world
//
// Blocks without numbers are left out. A block steps as SharedTerms and shots do: rotations from
// the left, everything else by addition; and the baseline of the first two lenses keeps its length.

#include <span>
#include <vector>

#include "solver/rows.h"
#include "solver/shared_terms.h"
#include "solver/shot_state.h"

namespace seamwright {

class Unknowns {
 public:
  static constexpr int kShared = -1;
  struct Block {
    int shot = kShared;
    int begin = 0;
    int size = 0;
    int flex = 0;  ///< how many numbers of it
  };

  /// Begins at `start` and `shots`; without `free_flex` their flex stays.
  Unknowns(const Rig& start, std::vector<ShotState> shots, const SharedTerms& terms,
           bool free_flex);
  Unknowns(const Unknowns&) = delete;
  Unknowns& operator=(const Unknowns&) = delete;

  [[nodiscard]] const std::vector<Block>& blocks() const { return blocks_; }
  [[nodiscard]] double* at(const Block& block) { return values_.data() + block.begin; }
  /// One a shot.
  [[nodiscard]] const std::vector<ShotSize>& sizes() const { return sizes_; }
  /// The length of the first baseline is the scale of all, where it is free.
  [[nodiscard]] bool holds_baseline() const { return baseline_ > 0; }

  /// Writes where a step leads from x.
  void step(const Block& block, const double* x, const double* step, double* moved) const;

  /// Where the columns of a plan stand among all unknowns.
  [[nodiscard]] std::vector<int> places_of(const ColumnPlan& columns) const;

  [[nodiscard]] Rig rig() const;
  [[nodiscard]] std::vector<ShotState> shots() const;

 private:
  void step_shared(const double* x, const double* step, double* moved) const;

  const Rig& start_;
  std::vector<ShotState> shots_;
  const SharedTerms& terms_;
  double baseline_ = 0;
  std::vector<ShotSize> sizes_;
  std::vector<Block> blocks_;
  std::vector<double> values_;
};

}  // namespace seamwright
