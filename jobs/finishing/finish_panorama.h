#pragma once

// One finished panorama, finished further. The steps, in this order: glow, mirror, level, edited
// floor, cover, plate; then the files are written. The panorama itself is never changed.

#include <filesystem>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "compose/finish/cover_stand.h"
#include "compose/finish/deliver.h"
#include "compose/finish/floor_view.h"
#include "compose/finish/levelling.h"

namespace seamwright {

/// What is done to a panorama before it is written.
struct FinishWish {
  bool mirrored = false;    ///< it is mirrored: flipped first
  double glow_removal = 0;  ///< 0…1: of the glow at bright edges (compose/finish/glow.h)
  LevelWish turn = {};
  std::filesystem::path floor_in = {};  ///< an edited view straight down; empty: none
  double floor_field_deg = kFloorField_deg;
  CoverWish cover = {};
  bool keep_location = true;  ///< where it was taken

  [[nodiscard]] std::optional<Error> validate() const;
};

/// What is written of it.
struct FinishFiles {
  Deliverables wanted = {};
  std::filesystem::path floor_out = {};  ///< the view straight down, after all steps

  /// Those that are named.
  [[nodiscard]] std::vector<std::filesystem::path> named() const;
};

struct FinishReport {
  int width_px = 0;
  int height_px = 0;
  double heading_deg = 0;
  bool location = false;  ///< the files say where it was taken
  Levelled levelled = {};
  FloorReturn floor = {};
  std::vector<std::string> findings = {};  ///< what a person should look at
};

/// Fails on a picture that is no whole sphere, on steps that cannot be done, and on files that may
/// not be written; each of them is whole or not there.
[[nodiscard]] Result<FinishReport> finish_panorama(const std::filesystem::path& panorama,
                                                   const FinishWish& wish, const FinishFiles& files,
                                                   const ProgressFn& progress = {});

}  // namespace seamwright
