#pragma once

// An order's shots as pieces of archive work: what each is made from, into what, and by what
// settings.

#include <string>
#include <vector>

#include "jobs/restitch/restitch.h"

namespace seamwright {

[[nodiscard]] const ShotWishes& wishes_of(const RestitchOrder& order, const ListedShot& shot);

/// Null where the shot has none of its own.
[[nodiscard]] const BodyTemplate* own_template_of(const RestitchOrder& order,
                                                  const ListedShot& shot);

/// Says of shots why they cannot be stitched: without a template, and those that would take each
/// other's place.
void leave_out_unusable(RestitchOrder& order);

/// One piece a shot that can be begun, then one each for the others, in the order's order. Those
/// that would write a file of another piece say so.
struct RestitchPiece {
  ArchiveItem item;
  const ListedShot* shot = nullptr;  ///< one of the order's
};
[[nodiscard]] std::vector<RestitchPiece> pieces_of(const RestitchOrder& order);

/// What a shot's panorama is made by, as it is wished now.
void put_settings(const RestitchOrder& order, const ListedShot& shot, ArchiveItem& item);

}  // namespace seamwright
