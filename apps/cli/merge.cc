#include <cctype>
#include <filesystem>
#include <optional>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/bracket_options.h"
#include "apps/cli/file_options.h"
#include "apps/cli/intake_options.h"
#include "apps/cli/merge_report.h"
#include "apps/cli/program.h"
#include "base/file_guard.h"
#include "base/make_folder.h"
#include "imaging/write_image.h"
#include "jobs/brackets/merge_shot.h"
#include "jobs/restitch/bracket_inputs.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

struct MergeCommand {
  std::vector<std::string> inputs;
  std::string out;
  std::string format = "tif";
  BracketOptions brackets;
  ToneWish tone;
  bool display = false;
  bool list = false;
};

constexpr std::string_view kMergeExample =
    "Examples:\n"
    "  seamwright merge card/ --list\n"
    "  seamwright merge card/ --out merged --display\n"
    "  seamwright merge a1.tif a2.tif a3.tif --out merged --pattern "
    "'(?<shot>[a-z]+)(?<frame>\\d)\\.tif'\n"
    "  seamwright merge house/house.run.yaml --out merged\n"
    "\nWrites <shot>_<lens>.tif (or .exr), float and linear: 1.0 is full code at the middle "
    "exposure. Frames "
    "are grouped by EXIF: lens model, times (a new shot after a rest of --rest-s) and exposures "
    "(frames within 1/6 stop are one step; several of one step are averaged). Shot files and run "
    "files say which frames are a bracket.\n"
    "A frame or shot that cannot be read or grouped is named and left out.\n"
    "Finishes with findings (exit 2) when EXIF and pixels disagree on an exposure, when the "
    "shortest exposure is clipped, or when something was left out.";

nlohmann::json groups_json(const std::vector<ListedFrame>& frames,
                           const std::vector<BracketShot>& shots) {
  nlohmann::json list = nlohmann::json::array();
  for (const BracketShot& shot : shots) {
    nlohmann::json lenses = nlohmann::json::array();
    for (const BracketSeries& series : shot.lenses) {
      nlohmann::json steps = nlohmann::json::array();
      for (const BracketStep& step : series.steps) {
        nlohmann::json files = nlohmann::json::array();
        for (const BracketMember& member : step.members) {
          files.push_back(frames[member.frame].file.string());
        }
        steps.push_back({{"ev", step.ev}, {"files", files}});
      }
      lenses.push_back({{"lens", series.lens}, {"steps", steps}});
    }
    list.push_back({{"shot", shot.name}, {"lenses", lenses}});
  }
  return list;
}

// A lens' name for file names: its last word, or its number.
std::string lens_suffix(const BracketSeries& series, std::size_t index) {
  const std::size_t space = series.lens.find_last_of(" /\\");
  std::string word = space == std::string::npos ? series.lens : series.lens.substr(space + 1);
  for (char& c : word) {
    if (std::isalnum(static_cast<unsigned char>(c)) == 0 && c != '-') c = '_';
  }
  return word.empty() ? fmt::format("{}", index) : word;
}

// Lenses that have one name are told apart by their numbers.
std::string merged_name(const BracketShot& shot, std::size_t lens) {
  if (shot.lenses.size() == 1 && shot.lenses[lens].lens.empty()) return shot.name;
  const std::string suffix = lens_suffix(shot.lenses[lens], lens);
  std::size_t of_this_name = 0;
  for (std::size_t i = 0; i < shot.lenses.size(); ++i) {
    of_this_name += lens_suffix(shot.lenses[i], i) == suffix ? 1U : 0U;
  }
  return of_this_name > 1 ? fmt::format("{}_{}", shot.name, lens)
                          : fmt::format("{}_{}", shot.name, suffix);
}

fs::path light_file(const MergeCommand& command, const std::string& name) {
  return fs::path(command.out) / fmt::format("{}.{}", name, command.format);
}

fs::path display_file(const MergeCommand& command, const std::string& name) {
  return fs::path(command.out) / (name + "_display.tif");
}

std::vector<fs::path> outputs(const MergeCommand& command, const std::vector<BracketShot>& shots) {
  std::vector<fs::path> files;
  for (const BracketShot& shot : shots) {
    for (std::size_t i = 0; i < shot.lenses.size(); ++i) {
      const std::string name = merged_name(shot, i);
      files.push_back(light_file(command, name));
      if (command.display) files.push_back(display_file(command, name));
    }
  }
  return files;
}

Error nothing_to_merge(const BracketInputs& found) {
  const std::vector<LeftOut>& left_out = found.left_out;
  if (left_out.empty() && found.single > 0) {
    return {.kind = ErrorKind::user_input,
            .where = {},
            .field = "frames",
            .what = fmt::format(
                "{} shots have one exposure of each lens: there is nothing to merge", found.single),
            .remedy = "give shots with brackets; 'stitch' takes single exposures as they are"};
  }
  if (left_out.empty()) {
    return {.kind = ErrorKind::user_input,
            .where = {},
            .field = "frames",
            .what = "there are none",
            .remedy = "give files or a folder"};
  }
  Error error = left_out.front().error;
  if (left_out.size() > 1) {
    error.what += fmt::format(", and {} more cannot be used", left_out.size() - 1);
  }
  return error;
}

/// Merges and writes shot after shot, and keeps what is to be told.
class MergeRun {
 public:
  MergeRun(const MergeCommand& command, const MergeOptions& options, const Console& console)
      : command_(command), options_(options), console_(console) {}

  Result<void> shot(const std::vector<ListedFrame>& frames, const BracketShot& shot) {
    const auto merged = merge_shot(frames, shot, options_, console_.progress());
    if (!merged && merged.error().kind == ErrorKind::cancelled) {
      return tl::unexpected(merged.error());
    }
    if (!merged) {
      leave_out(shot.name, merged.error());
      if (!failure_) failure_ = merged.error();
      return {};
    }
    std::vector<const Image*> pictures;
    for (const MergedFrame& lens : *merged) pictures.push_back(&lens.frame.image);
    const DisplayOptions display = display_options(command_.tone, pictures);
    for (std::size_t i = 0; i < merged->size(); ++i) {
      if (auto done = lens((*merged)[i], merged_name(shot, i), display); !done) return done;
    }
    return {};
  }

  void leave_out(const std::string& name, const Error& error) {
    findings_.push_back(fmt::format("{} is left out: {}", name, error.line()));
  }

  /// Why nothing at all was merged.
  [[nodiscard]] std::optional<Error> failure() const {
    return answer_.empty() ? failure_ : std::nullopt;
  }
  [[nodiscard]] const std::vector<std::string>& findings() const { return findings_; }
  [[nodiscard]] const nlohmann::json& answer() const { return answer_; }

 private:
  Result<void> lens(const MergedFrame& merged, const std::string& name,
                    const DisplayOptions& display) {
    const fs::path light = light_file(command_, name);
    const WriteOptions options{.info = merged.frame.info};
    if (auto done = write_image(light, merged.frame.image, options); !done) return done;
    nlohmann::json told = merge_json(merged.report);
    told["file"] = light.string();
    if (command_.display) {
      const auto shown = for_display(merged.frame.image, display);
      if (!shown) return tl::unexpected(shown.error());
      const fs::path picture = display_file(command_, name);
      if (auto done = write_image(picture, *shown, options); !done) return done;
      told["display"] = picture.string();
      told["curve"] = {{"gain", display.curve.gain},
                       {"brightest", display.curve.brightest},
                       {"straight_to", display.curve.straight_to},
                       {"local", display.local}};
    }
    console_.say(light.string());
    for (const std::string& line : merge_lines(merged.report)) console_.say(line);
    for (const std::string& note : merged.report.notes()) console_.say("note: " + note);
    for (const std::string& finding : merged.report.findings()) {
      findings_.push_back(name + ": " + finding);
    }
    answer_.push_back(std::move(told));
    return {};
  }

  const MergeCommand& command_;
  const MergeOptions& options_;
  const Console& console_;
  std::optional<Error> failure_;  // the first
  std::vector<std::string> findings_;
  nlohmann::json answer_ = nlohmann::json::array();
};

Result<Outcome> merge(const MergeCommand& command, const Console& console) {
  const auto grouping = command.brackets.grouping_options();
  if (!grouping) return tl::unexpected(grouping.error());
  const auto options = command.brackets.merge_options();
  if (!options) return tl::unexpected(options.error());
  if (command.out.empty() && !command.list) {
    return fail({.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "--out",
                 .what = "no folder to write to",
                 .remedy = "give --out FOLDER, or --list to see the groups only"});
  }
  const auto found = find_brackets(as_paths(command.inputs), *grouping, console.progress());
  if (!found) return tl::unexpected(found.error());
  if (found->shots.empty()) return fail(nothing_to_merge(*found));
  console.say(bracket_table(found->frames, found->shots));
  if (found->single > 0) {
    console.say(fmt::format("{} shots have one exposure of each lens: there is nothing to merge",
                            found->single));
  }
  nlohmann::json answer = {{"command", "merge"},
                           {"groups", groups_json(found->frames, found->shots)},
                           {"single", found->single}};
  for (const fs::path& file : found->looked_at) note_read(file);
  MergeRun run(command, *options, console);
  for (const LeftOut& left : found->left_out) run.leave_out(left.name, left.error);
  if (!command.list) {
    if (auto made = make_folder(command.out, "--out"); !made) return tl::unexpected(made.error());
    if (auto free = check_destinations(outputs(command, found->shots)); !free) {
      return tl::unexpected(free.error());
    }
    for (const BracketShot& shot : found->shots) {
      if (auto done = run.shot(found->frames, shot); !done) return tl::unexpected(done.error());
    }
    if (auto error = run.failure()) return fail(std::move(*error));
    answer["merged"] = run.answer();
  }
  for (const std::string& finding : run.findings()) console.say("finding: " + finding);
  if (console.json()) {
    answer["findings"] = run.findings();
    console.answer(answer);
  }
  return run.findings().empty() ? Outcome::done : Outcome::findings;
}

}  // namespace

void add_merge(Program& program) {
  const auto options = std::make_shared<MergeCommand>();
  CLI::App& command = program.add_command(
      "merge", "Merge exposure brackets and bursts of each lens into one frame of linear light",
      std::string(kMergeExample),
      [options](const Console& console) { return merge(*options, console); });
  command
      .add_option("frames", options->inputs, "Frames, folders of frames, *.shot.yaml, *.run.yaml")
      ->type_name(value_kind::kPath)
      ->required();
  command.add_option("--out", options->out, "Folder to write to; made when missing")
      ->type_name(value_kind::kNewFolder);
  command.add_option("--format", options->format, "Of the merged frames: tif or exr, both float")
      ->check(CLI::IsMember({"tif", "exr"}))
      ->capture_default_str();
  command.add_flag("--list", options->list, "Show how frames are grouped, and stop");
  command.add_flag("--display", options->display,
                   "Also write <shot>_<lens>_display.tif, 16-bit, for looking at");
  options->brackets.add_to(command);
  add_tone_options(command, options->tone);
}

}  // namespace seamwright
