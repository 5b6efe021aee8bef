#include <algorithm>
#include <filesystem>
#include <memory>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/bracket_options.h"
#include "apps/cli/check_page.h"
#include "apps/cli/check_report.h"
#include "apps/cli/check_run.h"
#include "apps/cli/file_options.h"
#include "apps/cli/intake_options.h"
#include "apps/cli/program.h"
#include "base/file.h"
#include "jobs/restitch/open_run.h"
#include "jobs/shot/open_shot.h"

namespace seamwright {
namespace fs = std::filesystem;

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
    "  seamwright check house/house.run.yaml\n"
    "  seamwright check --template my.template.yaml a.png b.png c.png d.png\n"
    "  seamwright check room.shot.yaml delivered/room.tif --json\n"
    "\nRanks shots worst first, says why and what to do. Shots are judged by what their own frames "
    "tell against the template: where the lenses sit (parallax does not count), light and colour, "
    "sharpness, level; with --seams also whether the pictures meet along the seam, and what it "
    "would cut. Panoramas alone are judged by "
    "shape, level, clipping and border. Bracketed shots are judged by their middle exposure.\n"
    "Frames of which neither EXIF nor names (NAME_front, NAME_back; NAME_0, NAME_1) say the lens "
    "are "
    "one shot in the order of the template's lenses.\n"
    "What cannot be read or grouped is named and left out.\n"
    "Finishes with findings (exit 2) when something should be looked at.";

/// What is checked, and against what.
struct CheckWork {
  std::vector<ListedShot> shots;
  std::optional<BodyTemplate> body;  ///< none: shot files name theirs
};

Result<CheckWork> list(const CheckCommand& command, const std::vector<fs::path>& places, bool alone,
                       const Console& console) {
  const auto grouping = command.brackets.grouping_options();
  if (!grouping) return tl::unexpected(grouping.error());
  CheckWork work;
  int lens_count = 2;
  if (!command.template_file.empty()) {
    auto body = read_body_template(command.template_file);
    if (!body) return tl::unexpected(body.error());
    lens_count = body->rig_template.rig().lens_count();
    work.body = std::move(*body);
  }
  auto shots = list_shots(places, *grouping, lens_count, console.progress());
  if (!shots) return tl::unexpected(shots.error());
  if (auto error = nothing_left(*shots); error && alone) return fail(std::move(*error));
  work.shots = std::move(*shots);
  return work;
}

Result<Shot> open(const CheckCommand& command, const CheckWork& work, const ListedShot& listed) {
  if (listed.failure) return fail(*listed.failure);
  ShotFiles files = listed.files;
  files.intake.mirrored = files.intake.mirrored || command.mirrored;
  return work.body ? open_shot(std::move(files), *work.body) : open_shot(std::move(files));
}

// What the shots are made of is known now: the page may be none of it.
std::optional<Error> page_refused(const CheckCommand& command) {
  return command.page.empty() ? std::nullopt : refusal_to_write(command.page);
}

using AllChecked = std::vector<Checked>;

// The shots of a run as restitch would stitch them. A run file that cannot be read, beside other
// inputs, is a line of the list.
Result<void> check_run(const CheckCommand& command, const fs::path& file,
                       const CheckRunOptions& options, const Console& console, AllChecked& all) {
  const bool alone = command.inputs.size() == 1;
  auto order = open_run_file(file, console.progress());
  if (!order && !alone && order.error().kind != ErrorKind::cancelled) {
    all.push_back(failed_check(file.string(), order.error()));
    return {};
  }
  if (!order) return tl::unexpected(order.error());
  const Restitch run(std::move(*order));
  if (auto error = run.nothing_to_do(); error && alone) return fail(std::move(*error));
  if (auto error = page_refused(command)) return fail(std::move(*error));
  for (const ArchiveItem& item : run.items()) {
    auto checked = check_opened(run.name_of(item.name), run.open(item.name), options, console);
    if (!checked) return tl::unexpected(checked.error());
    all.push_back(std::move(*checked));
  }
  return {};
}

Result<void> check_listed(const CheckCommand& command, const std::vector<fs::path>& places,
                          const CheckRunOptions& options, const Console& console, AllChecked& all) {
  const bool alone = places.size() == command.inputs.size();
  const auto work = list(command, places, alone, console);
  if (!work) return tl::unexpected(work.error());
  if (auto error = page_refused(command)) return fail(std::move(*error));
  for (const ListedShot& listed : work->shots) {
    auto checked = listed.panorama.empty()
                       ? check_opened(listed.name, open(command, *work, listed), options, console)
                       : check_finished(listed, console);
    if (!checked) return tl::unexpected(checked.error());
    all.push_back(std::move(*checked));
  }
  return {};
}

Result<AllChecked> check_all(const CheckCommand& command, const CheckRunOptions& options,
                             const Console& console) {
  const SplitInputs split = split_inputs(as_paths(command.inputs));
  if (split.rest.empty() && !command.template_file.empty()) {
    return fail({.kind = ErrorKind::user_input,
                 .where = split.run_files.front().string(),
                 .field = "--template",
                 .what = "is said by the run file",
                 .remedy = "say it there"});
  }
  AllChecked all;
  for (const fs::path& file : split.run_files) {
    if (auto done = check_run(command, file, options, console, all); !done) {
      return tl::unexpected(done.error());
    }
  }
  if (split.rest.empty()) return all;
  if (auto done = check_listed(command, split.rest, options, console, all); !done) {
    return tl::unexpected(done.error());
  }
  return all;
}

Result<Outcome> check(const CheckCommand& command, const Console& console) {
  CheckRunOptions options{.pictures = !command.page.empty()};
  options.check.level = !command.no_level;
  options.check.seams = command.seams;
  auto checked = check_all(command, options, console);
  if (!checked) return tl::unexpected(checked.error());
  std::vector<Checked>& all = *checked;
  rank(all);
  tell_checked(console, all);
  if (!command.page.empty()) {
    if (auto written = write_file(command.page, check_page(all)); !written) {
      return tl::unexpected(written.error());
    }
    console.say(command.page);
  }
  if (console.json()) console.answer(checked_as_json(all));
  const bool fine = std::all_of(all.begin(), all.end(), nothing_wrong);
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
                  "Folders of frames, frames, *.shot.yaml, finished panoramas, *.run.yaml")
      ->type_name(value_kind::kPath)
      ->required();
  command
      .add_option("--template", options->template_file,
                  "Template of the body; may be left out where shot files name it")
      ->type_name(value_kind::kFile);
  command.add_option("--page", options->page, "HTML page to write: the list with pictures")
      ->type_name(value_kind::kNewFile);
  command.add_flag("--seams", options->seams,
                   "Also plan each seam as stitch would, and say where the pictures do not meet: "
                   "slower");
  command.add_flag("--no-level", options->no_level, "Do not look whether the stand leaned");
  command.add_flag("--mirrored", options->mirrored, "The files hold mirrored pictures: flip them");
  command.add_option("--pattern", options->brackets.pattern,
                     "Regular expression over file names with named groups shot, lens, ev, frame; "
                     "overrides EXIF");
  command
      .add_option("--rest-s", options->brackets.grouping.rest_s, "Rest between two shots, seconds")
      ->capture_default_str();
  command.add_option("--frames-per-shot", options->brackets.grouping.frames_per_shot,
                     "Frames of each lens in each shot, where there is no rest between shots");
}

}  // namespace seamwright
