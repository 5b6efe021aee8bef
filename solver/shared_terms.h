#pragma once

// Which terms of a rig a solve may move, and how a step moves them.
//
// A rig of n lenses has n · kSlotCount slots. Free slots become columns of the normal equations.
// Lens 0 fixes the rig's orientation and position: its rotation and pupil are never free. Lens
// terms and pupils step by addition; a rotation by R ← exp(δ) R with δ a small rotation vector in
// the rig frame, so a column of a rotation is an angle in the rig, not a coordinate.

#include <array>
#include <string>
#include <vector>

#include <Eigen/Core>

#include "projection/rig.h"

namespace seamwright {

/// Slots of one lens: its kLensTermCount terms, then rotation, then pupil and its axial travel.
enum Slot : int {
  kRotationX = kLensTermCount,
  kRotationY,
  kRotationZ,
  kPupilX,
  kPupilY,
  kPupilZ,
  kPupilTravel,
  kSlotCount
};

class SharedTerms {
 public:
  /// `free_slots` is asked once per lens and slot; lens 0's rotation and pupil stay fixed.
  template <class Predicate>
  SharedTerms(int lens_count, Predicate&& is_free);

  [[nodiscard]] int columns() const { return static_cast<int>(refs_.size()); }
  [[nodiscard]] int lens_count() const { return static_cast<int>(column_of_.size()); }
  /// Column of a slot, or −1 when it is fixed.
  [[nodiscard]] int column(int lens, int slot) const {
    return column_of_[static_cast<std::size_t>(lens)][static_cast<std::size_t>(slot)];
  }
  [[nodiscard]] int lens_of(int column) const {
    return refs_[static_cast<std::size_t>(column)].lens;
  }
  [[nodiscard]] int slot_of(int column) const {
    return refs_[static_cast<std::size_t>(column)].slot;
  }
  /// The slots of a lens that are free, in the order of their columns, which follow each other.
  [[nodiscard]] const std::vector<int>& free_slots(int lens) const {
    return free_slots_[static_cast<std::size_t>(lens)];
  }
  /// "lens1.rotation_x_rad" and the like, as TermCovariance::names.
  [[nodiscard]] std::vector<std::string> names() const;

  /// The rig after a step (one entry a column).
  [[nodiscard]] Rig stepped(const Rig& rig, const Eigen::VectorXd& step) const;
  /// The step that leads from `reference` to `rig`.
  [[nodiscard]] Eigen::VectorXd difference(const Rig& rig, const Rig& reference) const;

 private:
  struct Ref {
    int lens = 0;
    int slot = 0;
  };
  std::vector<Ref> refs_;
  std::vector<std::array<int, kSlotCount>> column_of_;
  std::vector<std::vector<int>> free_slots_;
};

/// "focal_px", "rotation_x_rad", "pupil_y".
[[nodiscard]] std::string slot_name(int slot);

template <class Predicate>
SharedTerms::SharedTerms(int lens_count, Predicate&& is_free)
    : column_of_(static_cast<std::size_t>(lens_count)),
      free_slots_(static_cast<std::size_t>(lens_count)) {
  for (int lens = 0; lens < lens_count; ++lens) {
    for (int slot = 0; slot < kSlotCount; ++slot) {
      const bool gauge = lens == 0 && slot >= kRotationX && slot <= kPupilZ;
      int& column = column_of_[static_cast<std::size_t>(lens)][static_cast<std::size_t>(slot)];
      column = -1;
      if (gauge || !is_free(lens, slot)) continue;
      column = static_cast<int>(refs_.size());
      refs_.push_back({lens, slot});
      free_slots_[static_cast<std::size_t>(lens)].push_back(slot);
    }
  }
}

}  // namespace seamwright
