#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "apps/cli/bracket_options.h"
#include "apps/cli/console.h"
#include "imaging/frame.h"
#include "templates/shot_file.h"

namespace seamwright {

/// True when these arguments are brackets of a shot: a folder, or several files a lens.
[[nodiscard]] bool is_bracketed(const std::vector<std::string>& arguments,
                                const FrameIntake& intake, int lens_count);

/// One shot taken in brackets, merged: float frames of one radiometric scale.
struct BracketedShot {
  std::vector<Frame> frames;
  std::vector<std::string> findings;
  nlohmann::json report;  ///< one object a merged picture
};

/// Groups, shows the table, merges, and lays the frames out as `intake` says. Fails when the
/// arguments hold more than one shot, or another number of lenses.
[[nodiscard]] Result<BracketedShot> read_bracketed_shot(const std::vector<std::string>& arguments,
                                                        const FrameIntake& intake, int lens_count,
                                                        const BracketOptions& options,
                                                        const Console& console);

/// The brackets that a shot file writes down; it must hold some. `intake` as the command takes it.
[[nodiscard]] Result<BracketedShot> read_bracketed_shot(const std::filesystem::path& shot_file,
                                                        const FrameIntake& intake,
                                                        const ShotFile& shot,
                                                        const BracketOptions& options,
                                                        const Console& console);

}  // namespace seamwright
