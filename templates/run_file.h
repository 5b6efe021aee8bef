#pragma once

// A run file (`*.run.yaml`): what an archive run stitches, with what, into what. Paths are relative
// to its folder, so that an archive can move with it.
//
//   format: seamwright-run
//   version: 2
//
// docs/archive.md describes every key.

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.h"

namespace seamwright {

/// JPEGs beside the panoramas.
struct RunJpeg {
  int quality = 92;
  int width_px = 0;  ///< 0: the panorama's own
};

struct RunFile {
  std::vector<std::filesystem::path> shots;      ///< folders, frames, shot files
  std::vector<std::filesystem::path> templates;  ///< none: shot files name theirs
  std::filesystem::path out;
  std::optional<int> width_px;  ///< absent: native
  std::string seam = "depth";   ///< or "plain"
  std::string compression = "none";
  std::optional<RunJpeg> jpeg;
  bool level = false;
  bool strip_location = false;
  std::string pattern;  ///< over file names; empty: by EXIF
  double rest_s = 3;    ///< between two shots
  int frames_per_shot = 0;
};

/// Strict in the way of read_template.
[[nodiscard]] Result<RunFile> read_run_file(const std::filesystem::path& path);
/// The same from text; `name` stands in for the file in errors.
[[nodiscard]] Result<RunFile> parse_run_file(std::string_view yaml, const std::string& name);

}  // namespace seamwright
