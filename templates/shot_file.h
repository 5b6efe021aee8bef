#pragma once

// A shot file (`*.shot.yaml`): which frames make up one shot, how they lie in their files, the
// template it belongs to, and the ties somebody set by hand.
//
//   format: seamwright-shot
//   version: 1
//
// Paths are relative to the shot file's folder, so that a folder can move. docs/template-format.md
// describes every key.

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.h"
#include "imaging/frame.h"
#include "projection/tie.h"

namespace seamwright {

/// One sight of a tie set by hand; pixels of the frame after its intake (upright, not mirrored).
struct ManualSight {
  int lens = 0;
  Vec2 px = Vec2::Zero();

  bool operator==(const ManualSight&) const = default;
};

struct ManualTie {
  TieRange range = TieRange::open;
  double sigma_px = 0.5;            ///< how sure the hand was, both coordinates alike
  std::vector<ManualSight> sights;  ///< 2 or more, each by another lens

  [[nodiscard]] Tie as_tie(int shot) const;
  bool operator==(const ManualTie&) const = default;
};

/// The template a shot was finished with.
struct TemplateReference {
  std::filesystem::path file;         ///< relative to the shot file's folder
  std::optional<std::string> sha256;  ///< of the template's bytes, when it must be that very one

  bool operator==(const TemplateReference&) const = default;
};

struct ShotFile {
  std::vector<std::filesystem::path> frames;  ///< relative to the shot file's folder, lens 0 first
  FrameIntake intake;
  std::optional<TemplateReference> rig_template;
  std::vector<ManualTie> manual_ties;
};

/// Strict in the way of read_template; absolute paths are refused.
[[nodiscard]] Result<ShotFile> read_shot_file(const std::filesystem::path& path);
/// The same from text; `name` stands in for the file in errors.
[[nodiscard]] Result<ShotFile> parse_shot_file(std::string_view yaml, const std::string& name);

/// Numbers are written so that they read back exactly. Atomic.
[[nodiscard]] Result<void> write_shot_file(const std::filesystem::path& path,
                                           const ShotFile& value);
[[nodiscard]] std::string format_shot_file(const ShotFile& value);

/// A path that stands in a shot file, as seen from the working folder.
[[nodiscard]] std::filesystem::path beside_shot_file(const std::filesystem::path& shot_file,
                                                     const std::filesystem::path& relative);

}  // namespace seamwright
