#pragma once

#include <string>
#include <vector>

#include "apps/cli/bracket_options.h"
#include "apps/cli/console.h"
#include "apps/cli/cover_options.h"
#include "apps/cli/level_options.h"
#include "apps/cli/shot_input.h"
#include "base/result.h"
#include "compose/render/render.h"

namespace seamwright {

/// One shot from its files to its panorama's files, as `stitch` and `restitch` do it.
struct StitchOptions {
  std::string template_file;
  std::vector<std::string> frames;
  IntakeOptions intake;
  BracketOptions brackets;
  ToneOptions tone;
  std::string light;
  LevelOptions level;
  CoverOptions cover;
  std::string out;
  std::string jpeg;
  std::string width = "native";
  std::string kernel = "catmull-rom";
  std::string compression = "none";
  std::string seam = "depth";
  std::string save_ribbon;
  std::string layers;
  int jpeg_quality = 92;
  int jpeg_width = 0;
  bool strip_location = false;
  double blend_half_width_deg = RenderOptions{}.blend_half_width_deg;
  bool no_gain_match = false;
};

/// Tells the console what it did; gives what a person should look at.
[[nodiscard]] Result<std::vector<std::string>> stitch_shot(const StitchOptions& options,
                                                           const Console& console);

}  // namespace seamwright
