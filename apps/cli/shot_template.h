#pragma once

#include <optional>
#include <string>
#include <vector>

#include "base/result.h"
#include "compose/render/seam_plan.h"
#include "templates/rig_template.h"
#include "templates/shot_file.h"

namespace seamwright {

/// The template of a shot, and the shot file where there is one.
struct ShotTemplate {
  RigTemplate rig_template;
  std::string file;              ///< where the template was read from
  std::string sha256;            ///< of its bytes
  std::optional<ShotFile> shot;  ///< with the touch it holds
};

/// What becomes of the touch that a shot file holds already.
enum class OldTouch { kept, replaced };

/// The template named on the command line, or else the one that the shot file names. Refused: none
/// at all, another one than the shot file's hash says, and a touch to be kept that was made for
/// another template.
[[nodiscard]] Result<ShotTemplate> open_shot_template(const std::string& template_file,
                                                      const std::vector<std::string>& arguments,
                                                      OldTouch old_touch = OldTouch::kept);

/// What a shot file's strokes and ties say about the seams.
[[nodiscard]] SeamOptions seam_options_of(const ShotFile& shot);

}  // namespace seamwright
