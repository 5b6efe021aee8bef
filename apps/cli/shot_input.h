#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>

#include "base/result.h"
#include "imaging/frame.h"
#include "templates/rig_template.h"

namespace seamwright {

/// How the command line says that frames lie in their files; unset where a shot file says it.
struct IntakeOptions {
  std::string layout;              ///< "", "side-by-side", "stacked" or "one-per-file"
  std::vector<int> quarter_turns;  ///< clockwise, one per lens
  bool mirrored = false;

  void add_to(CLI::App& command);
};

/// One shot: its files and how they are read.
struct ShotInput {
  std::string name;
  std::vector<std::filesystem::path> files;
  FrameIntake intake;
  std::vector<std::filesystem::path> exposures;  ///< of brackets that a shot file writes down
};

/// True for `*.yaml` and `*.yml`.
[[nodiscard]] bool is_yaml(const std::filesystem::path& path);
/// True for `*.shot.yaml`.
[[nodiscard]] bool is_shot_file(const std::filesystem::path& path);

/// One shot given as a file per lens, as one file with all lenses (side by side unless the layout
/// says otherwise) or as a `*.shot.yaml`. Its frames come from `read_shot(files, intake)`. Several
/// exposures a lens pass only where the caller takes `brackets`; it then looks by is_bracketed().
[[nodiscard]] Result<ShotInput> open_shot_input(const std::vector<std::string>& arguments,
                                                const IntakeOptions& options, int lens_count,
                                                bool brackets = false);

/// How a shot file that lies at `shot_file`, or will, names a file. Fails across drives.
[[nodiscard]] Result<std::filesystem::path> seen_from_shot_file(
    const std::filesystem::path& file, const std::filesystem::path& shot_file);

/// File names and content hashes, for a template's record.
[[nodiscard]] Result<std::vector<TemplateSource>> sources_of(const ShotInput& shot);

}  // namespace seamwright
