#include "apps/demo/demo.h"

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/file_options.h"
#include "apps/cli/program.h"

namespace seamwright {

namespace {

constexpr std::string_view kDemoExample =
    "Example:\n"
    "  seamwright demo rooms --frame 1000\n"
    "\nWrites rooms/frames/*.tif, the frames of an invented two-lens body in an invented guest "
    "house, and rooms/truth/, what is really there: the body's template, depth and ideal "
    "panoramas. Another --seed is another body.";

Result<Outcome> demo(const std::string& folder, const DemoOptions& options,
                     const Console& console) {
  if (auto error = options.validate()) return fail(std::move(*error));
  if (auto done = write_demo(folder, options, console.progress()); !done) {
    return tl::unexpected(done.error());
  }
  std::vector<std::string> shots = options.only_shots;
  if (shots.empty()) {
    for (const DemoShot& shot : demo_shots()) shots.push_back(shot.name);
  }
  console.say(fmt::format("{}: {} shots of {} x {} px", folder, shots.size(), options.frame_px,
                          options.frame_px));
  if (console.json()) {
    console.answer({{"command", "demo"},
                    {"folder", folder},
                    {"frame_px", options.frame_px},
                    {"seed", options.seed},
                    {"shots", shots}});
  }
  return Outcome::done;
}

}  // namespace

void add_demo(Program& program) {
  const auto folder = std::make_shared<std::string>();
  const auto options = std::make_shared<DemoOptions>();
  CLI::App& command = program.add_command(
      "demo", "Write frames of an invented body in an invented house, with the truth beside them",
      std::string(kDemoExample),
      [=](const Console& console) { return demo(*folder, *options, console); });
  command.add_option("folder", *folder, "Folder to write to; made when missing")
      ->type_name(value_kind::kNewFolder)
      ->required();
  command.add_option("--frame", options->frame_px, "Width and height of a frame, px")
      ->capture_default_str();
  command.add_option("--seed", options->seed, "Which body, flex and noise")->capture_default_str();
  command.add_option("--shots", options->only_shots, "Only these shots, by name");
  command.add_option("--brackets", options->brackets_ev,
                     "Also take brackets at each stand, stops from its exposure, e.g. --brackets "
                     "-3 0 2; a ball rolls past meanwhile");
  command.add_option("--tilt-pitch-deg", options->tilt_pitch_deg, "Lean every stand further back");
  command.add_option("--tilt-roll-deg", options->tilt_roll_deg, "Lean every stand further right");
  command.add_option("--raise-m", options->raise_m, "Raise every stand by so many metres");
  command.add_flag("--mirrored", options->mirrored, "Write the frames mirrored");
  command.add_flag("--passer-by", options->passer_by,
                   "A guest walks past while the lenses expose one after the other");
  command.add_flag("!--no-truth", options->with_truth, "Leave out the truth");
  command.add_flag("!--no-panoramas", options->with_panoramas,
                   "Leave out the ideal panoramas, the slowest part of the truth");
}

}  // namespace seamwright
