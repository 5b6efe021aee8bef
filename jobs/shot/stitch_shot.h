#pragma once

// From a shot to its panorama's files. The steps, in this order:
//
//   read      frames, or brackets merged into light; hashes for the record, beside it
//   fit       the quick test against the template (shot_fit.h): refused, touched, or told
//   level     the turn that sets the shot upright, put into the rig: no resampling of its own
//   seams     depth in each overlap, the warp, where the seam runs (compose/render/seam_plan.h)
//   render    to the file, band by band; light first where there is any, then shown for displays
//   glow      purple and blue at bright edges taken off the picture for displays, in memory; never
//             off the light
//   look      brightness and white of the picture for displays (jobs/look/look.h), in memory
//   cover     what hides the stand, in memory
//   layers    for retouching

#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "compose/finish/levelling.h"
#include "compose/render/render.h"
#include "imaging/image.h"
#include "jobs/brackets/merge.h"
#include "jobs/shot/shot.h"
#include "jobs/shot/shot_fit.h"
#include "jobs/shot/shown_picture.h"

namespace seamwright {

/// What is written. Only `out` must be there.
struct StitchFiles {
  std::filesystem::path out;               ///< .tif (16-bit), .png, .jpg or .exr
  std::filesystem::path jpeg = {};         ///< companion for the web
  std::filesystem::path light = {};        ///< of brackets and linear frames: linear light
  std::filesystem::path layers = {};       ///< TIFF for retouching (compose/render/layer_file.h)
  std::filesystem::path save_ribbon = {};  ///< folder for pictures of the overlaps
};

struct StitchReport {
  RenderReport render;
  Levelled levelled;
  std::optional<int> joined_pairs;  ///< lens pairs joined by depth; none with plain seams
  ShotBrackets brackets;            ///< what was merged; empty where nothing was
  std::vector<MergeReport> merges;
  ShownBy shown_by;                     ///< the display picture
  Image glow = {};                      ///< where glow was taken off; empty where none was to be
  std::vector<std::string> findings;    ///< what a person should look at
  std::vector<std::string> notes = {};  ///< what a person may want to know
  ShotFit fit = {};
  double fit_s = 0;  ///< what the quick test took
};

/// Is told what the quick test said of a shot, also where the shot is then refused.
using FitTold = std::function<void(const ShotFit& fit)>;

/// Refuses before any work what makes no sense, and outputs that may not be written. Each file
/// appears whole or not at all, the companion after the panorama. Errors name outputs by the
/// members of StitchFiles. Same shot, same bytes, with any number of threads.
///
/// A shot that does not fit its template is refused before anything is written, unless it is wished
/// 'anyway'. One that was knocked is touched for this stitch, unless it holds a touch already or is
/// wished to stay; the panorama records the touch.
[[nodiscard]] Result<StitchReport> stitch_shot(const Shot& shot, const StitchFiles& files,
                                               const ProgressFn& progress = {},
                                               const FitTold& fit_told = {});

}  // namespace seamwright
