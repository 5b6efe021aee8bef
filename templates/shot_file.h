#pragma once

// A shot file (`*.shot.yaml`): which frames make up one shot, how they lie in their files, the
// template it belongs to, the ties somebody set by hand, and the touch that came of them.
//
//   format: seamwright-shot
//   version: 6
//
// Version 2 added the touch, version 3 the seam's strokes, version 4 brackets, version 5 upright
// edges, version 6 new names for the terms of a touch; a shot is written in the lowest version that
// holds it. Paths are relative to the shot file's folder, so that a folder can move.
// docs/template-format.md describes every key.

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.h"
#include "imaging/frame.h"
#include "projection/rig.h"
#include "projection/seam_stroke.h"
#include "projection/tie.h"
#include "projection/upright_edge.h"

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

/// How one shot's rig differs from its template's: a step of SharedTerms. It means something for
/// the very template it was made for only, so the shot's reference must then hold a hash.
struct ShotTouch {
  std::vector<std::string> names;  ///< of the terms moved, as TermCovariance::names
  std::vector<double> step;        ///< one per name, in the units of the names (angles: radians)

  bool operator==(const ShotTouch&) const = default;
};

/// One exposure of a file's bracket.
struct BracketFrame {
  std::filesystem::path file;  ///< relative to the shot file's folder
  std::optional<double> ev;    ///< stops, one scale for the whole shot; absent: as EXIF says

  bool operator==(const BracketFrame&) const = default;
};

struct ShotFile {
  std::vector<std::filesystem::path> frames;  ///< relative to the shot file's folder, lens 0 first
  FrameIntake intake;
  /// All exposures of each of `frames`, which is one of them: the one that ties are set on. Empty:
  /// nothing was bracketed.
  std::vector<std::vector<BracketFrame>> brackets;
  std::optional<TemplateReference> rig_template;
  std::vector<ManualTie> manual_ties;
  std::optional<ShotTouch> touch;
  std::vector<SeamStroke> seam;        ///< where the seams are to run, and where not
  std::vector<UprightEdge> verticals;  ///< marked by hand; the shot is levelled by them
};

/// The template's rig with a shot's touch, exactly as the solve left it. Fails when the touch moves
/// a term that this rig does not have, or leaves a lens that folds.
[[nodiscard]] Result<Rig> touched_rig(const Rig& template_rig, const ShotTouch& touch);

/// Strict in the way of read_template; absolute paths are refused.
[[nodiscard]] Result<ShotFile> read_shot_file(const std::filesystem::path& path);
/// The same from text; `name` stands in for the file in errors.
[[nodiscard]] Result<ShotFile> parse_shot_file(std::string_view yaml, const std::string& name);

/// Numbers are written so that they read back exactly. A shot that would not read back as itself
/// (odd file names, too much in it: shot_limits.h) is refused, and the file stays as it was.
/// Atomic. An older version of the same file is kept beside it as `NAME.previous`; a file that is
/// no shot file is not replaced.
[[nodiscard]] Result<void> write_shot_file(const std::filesystem::path& path,
                                           const ShotFile& value);
/// Its two halves: the text, read back by the reader; and a text that is a shot's to the disk, read
/// back from there before it takes its name.
[[nodiscard]] Result<std::string> checked_shot_text(const std::filesystem::path& path,
                                                    const ShotFile& value);
[[nodiscard]] Result<void> write_shot_text(const std::filesystem::path& path,
                                           std::string_view text);
[[nodiscard]] std::string format_shot_file(const ShotFile& value);

/// A path that stands in a shot file, as seen from the working folder.
[[nodiscard]] std::filesystem::path beside_shot_file(const std::filesystem::path& shot_file,
                                                     const std::filesystem::path& relative);

}  // namespace seamwright
