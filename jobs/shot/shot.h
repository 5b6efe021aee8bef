#pragma once

// A shot: everything about one stand. It says which files it is made from and how they lie, the
// body's template, what somebody edited (touch, strokes, ties, upright edges) and what is wished of
// its panorama. All commands and the workbench work on this value; open_shot.h makes it.
//
//   request ──open_shot──▶ Shot ──read_pictures──▶ ShotPictures
//                            └────stitch_shot────▶ files (stitch_shot.h)

#include <filesystem>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "compose/render/gain.h"
#include "compose/render/seam_plan.h"
#include "imaging/frame.h"
#include "imaging/metadata.h"
#include "imaging/transfer.h"
#include "jobs/shot/shot_files.h"
#include "jobs/shot/shot_wishes.h"
#include "templates/rig_template.h"

namespace seamwright {

/// A template and where it was read from.
struct BodyTemplate {
  RigTemplate rig_template;
  std::filesystem::path file;
  std::string sha256;  ///< of its bytes
};

/// Everything about one shot but its pixels, which are read when they are wanted.
struct Shot {
  ShotFiles files;  ///< `files.intake` holds the template's own mirroring
  BodyTemplate body;
  Rig rig;  ///< the template's, with the shot's touch; at the template's frame size
  ShotWishes wishes;

  [[nodiscard]] const std::string& name() const { return files.name; }
  /// Touch, ties, strokes and upright edges.
  [[nodiscard]] const ShotFile& edits() const { return files.document; }
  /// The template with the touched rig.
  [[nodiscard]] RigTemplate touched_template() const;
};

/// The pixels of a shot: one upright, unmirrored frame a lens.
struct ShotPictures {
  std::vector<Frame> frames;
  bool is_light = false;  ///< float, linear: merged from brackets, or frames that were linear
  Rig rig;                ///< the shot's, at the size of the frames
  TransferCurve transfer = TransferCurve::srgb();
  ShotBrackets brackets;            ///< what was merged; empty where nothing was
  std::vector<MergeReport> merges;  ///< one a merged picture
};

/// Which of several exposures are read.
enum class Exposures {
  all,     ///< merged into light
  middle,  ///< those that ties are set on, and that the shot is judged by
};

/// Fails on frames that cannot be read, and on such as do not fit the rig or one another.
[[nodiscard]] Result<ShotPictures> read_pictures(const Shot& shot, Exposures exposures,
                                                 const ProgressFn& progress = {});

/// The lenses' brightness against one another, by the rig as it is touched.
[[nodiscard]] GainMatch gains_of(const ShotPictures& pictures);

/// What the shot's edits and wishes say about its seams, in a panorama whose axes are turned.
[[nodiscard]] SeamOptions seam_options_of(const Shot& shot,
                                          const Quat& turned_from_rig = Quat::Identity());

/// What a shot file at that place says of the shot: its frames and its template, seen from there,
/// with the template's hash. Fails across drives.
[[nodiscard]] Result<ShotFile> document_at(const Shot& shot,
                                           const std::filesystem::path& shot_file);

/// What the panorama records of its origin: names and content hashes of pictures and shot file, in
/// the order of their names. Reads every file.
[[nodiscard]] Result<MadeFrom> provenance_of(const Shot& shot);

/// SHA-256 of all that decides the panorama: files, template, edits, wishes. Two shots of one hash
/// give the same bytes. Reads every file.
[[nodiscard]] Result<std::string> content_hash_of(const Shot& shot);

}  // namespace seamwright
