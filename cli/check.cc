#include <algorithm>
#include <memory>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "base/file.h"
#include "check/panorama_check.h"
#include "check/shot_check.h"
#include "cli/check_inputs.h"
#include "cli/check_page.h"
#include "cli/check_report.h"
#include "cli/output_files.h"
#include "cli/program.h"
#include "cli/shot_input.h"
#include "cli/shot_template.h"

namespace seamwright {

namespace {

struct CheckCommand {
  std::string template_file;
  std::vector<std::string> inputs;
  std::string page;
  BracketOptions brackets;
  bool seams = false;
  bool no_level = false;
  bool mirrored = false;
};

constexpr std::string_view kCheckExample =
    "Examples:\n"
    "  seamwright check --template my.template.yaml card/ --page check.html\n"
    "  seamwright check room.shot.yaml delivered/room.tif --json\n"
    "\nRanks shots worst first, says why and what to do. Shots are judged by what their own frames "
    "tell against the template: where the lenses sit (parallax does not count), light and colour, "
    "sharpness, level; with --seams also whether the pictures meet along the seam, and what it "
    "would cut. Panoramas alone are judged by "
    "shape, level, clipping and border. Bracketed shots are judged by their middle exposure.\n"
    "Finishes with findings (exit 2) when something should be looked at.";

class CheckRun {
 public:
  CheckRun(const CheckCommand& command, const Console& console)
      : command_(command), console_(console) {
    options_.level = !command.no_level;
    options_.seams = command.seams;
  }

  /// What cannot be read is told and does not stop the rest; being told to stop does.
  Result<Checked> one(const CheckInput& input) const {
    if (input.failure) {
      return Checked{.found = {.name = input.name, .findings = {}},
                     .failure = input.failure->line()};
    }
    auto checked = input.panorama.empty() ? shot(input) : panorama(input);
    if (checked || checked.error().kind == ErrorKind::cancelled) return checked;
    return Checked{.found = {.name = input.name, .findings = {}},
                   .failure = checked.error().line()};
  }

 private:
  static Result<Checked> panorama(const CheckInput& input) {
    auto found = check_panorama(input.panorama);
    if (!found) return tl::unexpected(found.error());
    return Checked{.found = std::move(*found)};
  }

  Result<Checked> shot(const CheckInput& input) const {
    std::vector<std::string> arguments;
    if (!input.shot_file.empty()) arguments.push_back(input.shot_file.string());
    auto opened = open_shot_template(command_.template_file, arguments);
    if (!opened) return tl::unexpected(opened.error());
    RigTemplate body = std::move(opened->rig_template);
    if (opened->shot && opened->shot->touch) {
      auto touched = touched_rig(body.rig(), *opened->shot->touch);
      if (!touched) return tl::unexpected(touched.error());
      body.solution.rig = std::move(*touched);
    }
    FrameIntake intake = input.intake;
    intake.mirrored = intake.mirrored || body.mirrored || command_.mirrored;
    const auto frames = read_shot(input.frames, intake);
    if (!frames) return tl::unexpected(frames.error());
    ShotCheckOptions options = options_;
    if (opened->shot) options.seam = seam_options_of(*opened->shot);
    auto checked = check_shot(input.name, body, *frames, options, console_.progress());
    if (!checked) return tl::unexpected(checked.error());
    Checked result{.found = checked->found};
    if (!command_.page.empty())
      result.picture = picture_of_worst(body.rig(), *frames, result.found);
    result.shot = std::move(*checked);
    return result;
  }

  const CheckCommand& command_;
  const Console& console_;
  ShotCheckOptions options_;
};

// Lenses of the template that loose frames belong to.
Result<int> lens_count_of(const CheckCommand& command) {
  if (command.template_file.empty()) return 2;
  const auto body = read_template(command.template_file);
  if (!body) return tl::unexpected(body.error());
  return body->rig().lens_count();
}

Result<Outcome> check(const CheckCommand& command, const Console& console) {
  const auto grouping = command.brackets.grouping_options();
  if (!grouping) return tl::unexpected(grouping.error());
  const auto lens_count = lens_count_of(command);
  if (!lens_count) return tl::unexpected(lens_count.error());
  const auto inputs = check_inputs(command.inputs, *grouping, *lens_count, console);
  if (!inputs) return tl::unexpected(inputs.error());
  if (!command.page.empty()) {
    std::vector<std::filesystem::path> read;
    for (const CheckInput& input : *inputs) {
      read.insert(read.end(), input.frames.begin(), input.frames.end());
      if (!input.panorama.empty()) read.push_back(input.panorama);
      if (!input.shot_file.empty()) read.push_back(input.shot_file);
    }
    if (!command.template_file.empty()) read.emplace_back(command.template_file);
    if (auto free = check_outputs({{"--page", command.page}}, read, "one of the checked files");
        !free) {
      return tl::unexpected(free.error());
    }
  }
  const CheckRun run(command, console);
  std::vector<Checked> all;
  for (const CheckInput& input : *inputs) {
    auto checked = run.one(input);
    if (!checked) return tl::unexpected(checked.error());
    all.push_back(std::move(*checked));
  }
  rank(all);
  tell_checked(console, all);
  if (!command.page.empty()) {
    if (auto written = write_file(command.page, check_page(all)); !written) {
      return tl::unexpected(written.error());
    }
    console.say(command.page);
  }
  if (console.json()) console.answer(checked_as_json(all));
  const bool fine = std::all_of(all.begin(), all.end(), [](const Checked& one) {
    return one.failure.empty() && one.found.findings.empty();
  });
  return fine ? Outcome::done : Outcome::findings;
}

}  // namespace

void add_check(Program& program) {
  const auto options = std::make_shared<CheckCommand>();
  CLI::App& command = program.add_command(
      "check", "Rank shots and panoramas by what is wrong with them, worst first",
      std::string(kCheckExample),
      [options](const Console& console) { return check(*options, console); });
  command
      .add_option("inputs", options->inputs,
                  "Folders of frames, frames, *.shot.yaml, finished panoramas")
      ->required();
  command.add_option("--template", options->template_file,
                     "Template of the body; may be left out where shot files name it");
  command.add_option("--page", options->page, "HTML page to write: the list with pictures");
  command.add_flag("--seams", options->seams,
                   "Also plan each seam as stitch would, and say where the pictures do not meet: "
                   "slower");
  command.add_flag("--no-level", options->no_level, "Do not look whether the stand leaned");
  command.add_flag("--mirrored", options->mirrored, "The files hold mirrored pictures: flip them");
  command.add_option("--pattern", options->brackets.pattern,
                     "Regular expression over file names with named groups shot, lens, ev, frame; "
                     "overrides EXIF");
  command
      .add_option("--gap-s", options->brackets.grouping.gap_s, "Rest between two shots, seconds")
      ->capture_default_str();
  command.add_option("--frames-per-shot", options->brackets.grouping.frames_per_shot,
                     "Frames of each lens in each shot, where there is no rest between shots");
}

}  // namespace seamwright
