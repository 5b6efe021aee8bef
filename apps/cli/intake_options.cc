#include "apps/cli/intake_options.h"

namespace seamwright {

void IntakeOptions::add_to(CLI::App& command) {
  command
      .add_option("--layout", layout,
                  "How lenses lie in the files: side-by-side (usual for one file), stacked, "
                  "one-per-file")
      ->check(CLI::IsMember({"side-by-side", "stacked", "one-per-file"}));
  command
      .add_option("--turns", quarter_turns,
                  "Clockwise quarter turns that set each lens' frame upright, e.g. --turns 1 3")
      ->check(CLI::Range(-3, 3));
  command.add_flag("--mirrored", mirrored, "The files hold mirrored pictures: flip them");
}

ShotRequest IntakeOptions::request(const std::vector<std::string>& files) const {
  ShotRequest request{
      .files = as_paths(files), .quarter_turns = quarter_turns, .mirrored = mirrored};
  if (layout == "side-by-side") request.layout = FrameLayout::side_by_side;
  if (layout == "stacked") request.layout = FrameLayout::stacked;
  if (layout == "one-per-file") request.layout = FrameLayout::one_per_file;
  return request;
}

std::vector<std::filesystem::path> as_paths(const std::vector<std::string>& files) {
  return {files.begin(), files.end()};
}

}  // namespace seamwright
