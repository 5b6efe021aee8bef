#pragma once

// A card's pictures on the way to a run file: walked, checked, grouped, copied, named.
//
//   HOUSE/frames/…          the pictures, as they lay on the card; or the card itself, in place
//   HOUSE/house.run.yaml    one line a shot (templates/run_file.h)
//
// Doing it again copies what is missing and adds the shots that are new. Lines that are there stay
// as a person left them, names included.

#include <filesystem>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "jobs/card/card_files.h"
#include "jobs/shot/shot_files.h"

namespace seamwright {

struct ImportRequest {
  std::filesystem::path card;
  std::filesystem::path house;  ///< made when missing
  std::vector<std::filesystem::path> templates = {};
  bool in_place = false;  ///< the pictures stay where they are
  double rest_s = 3;      ///< between two shots
};

/// A shot as the run file has it now.
struct ImportedShot {
  std::string name;
  std::string time;
  std::string body;
  std::string steps;  ///< "-3.0 +0.0 +2.0"; empty of a single exposure
  std::vector<std::string> odd;
  bool is_new = false;
  bool skipped = false;  ///< the run file leaves it out
  ShotFiles files;       ///< as they lie on the card, with the intake of its template
};

struct ImportReport {
  std::vector<ImportedShot> shots;
  std::vector<CardNote> odd;  ///< files and shots that stay out, one line each
  int copied = 0;
  int were_there = 0;
  bool has_templates = false;
  int copies = 0;  ///< files of the same content, left out
  int others = 0;  ///< files that are no pictures
  std::filesystem::path run_file;
  bool run_file_changed = false;

  /// Whether nothing is odd.
  [[nodiscard]] bool clean() const;
};

[[nodiscard]] std::filesystem::path run_file_of(const std::filesystem::path& house);

/// Fails on templates and a run file that cannot be read, on a card without pictures, and where
/// nothing can be written; what was copied before stays. Whatever is odd about one file or one shot
/// is a line of the report.
[[nodiscard]] Result<ImportReport> import_card(const ImportRequest& request,
                                               const ProgressFn& progress = {});

}  // namespace seamwright
