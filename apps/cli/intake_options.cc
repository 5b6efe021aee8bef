#include "apps/cli/intake_options.h"

#include "base/enum_names.h"
#include "templates/choice_names.h"

namespace seamwright {

void IntakeOptions::add_to(CLI::App& command) {
  command
      .add_option("--layout", layout,
                  "How lenses lie in the files: side-by-side (usual for one file), stacked, "
                  "one-per-file")
      ->check(CLI::IsMember(all_of_names(kLayoutNames)));
  command
      .add_option("--turns", quarter_turns,
                  "Clockwise quarter turns that set each lens' frame upright, e.g. --turns 1 3")
      ->check(CLI::Range(-3, 3));
  command.add_flag("--mirrored", mirrored, "The files hold mirrored pictures: flip them");
}

ShotRequest IntakeOptions::request(const std::vector<std::string>& files) const {
  ShotRequest request{
      .files = as_paths(files), .quarter_turns = quarter_turns, .mirrored = mirrored};
  request.layout = enum_of<FrameLayout>(kLayoutNames, layout);
  return request;
}

std::vector<std::filesystem::path> as_paths(const std::vector<std::string>& files) {
  return {files.begin(), files.end()};
}

}  // namespace seamwright
