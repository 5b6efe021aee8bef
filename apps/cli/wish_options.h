#pragma once

#include <string>

#include <CLI/CLI.hpp>

#include "apps/cli/level_options.h"
#include "apps/cli/look_options.h"
#include "base/result.h"
#include "jobs/shot/shot_wishes.h"

namespace seamwright {

/// The words of the command line for what is wished of a panorama.
struct WishOptions {
  std::string width = "native";
  std::string kernel = std::string(kKernelNames.front());
  std::string compression = std::string(kCompressionNames.front());
  std::string seam = std::string(kSeamNames.front());
  bool strip_location = false;
  bool no_gain_match = false;
  bool no_touch = false;
  LevelOptions level;
  LookOptions look;
  ShotWishes rest;  ///< what is told by numbers alone

  /// Width, seam, compression, glow, the companion JPEG's numbers, --strip-location, --anyway and
  /// --no-touch.
  void add_to(CLI::App& command);
  [[nodiscard]] Result<ShotWishes> wishes() const;
};

/// How the command line says how much glow goes.
void add_glow_option(CLI::App& command, double& glow_removal);

/// How the command line says what hides the stand.
void add_cover_options(CLI::App& command, CoverWish& wish);

}  // namespace seamwright
