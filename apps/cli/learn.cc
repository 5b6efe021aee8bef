#include "jobs/learning/learn.h"

#include <cmath>
#include <set>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/file_options.h"
#include "apps/cli/first_look.h"
#include "apps/cli/intake_options.h"
#include "apps/cli/learn_report.h"
#include "apps/cli/program.h"
#include "apps/report/learn_page.h"
#include "base/file.h"
#include "base/readable_text.h"
#include "base/user_error.h"
#include "jobs/check/lying_frames.h"
#include "jobs/learning/shot_to_learn.h"
#include "jobs/restitch/open_run.h"
#include "jobs/shot/body_files.h"
#include "jobs/shot/shot_files.h"
#include "jobs/shot/shot_list.h"

namespace seamwright {

namespace {

struct LearnCommandOptions {
  std::vector<std::vector<std::string>> shots;
  std::vector<std::string> places;  ///< run files, folders, frames and shot files: as well
  IntakeOptions intake;
  std::string from;
  std::string starter = LearnOptions{}.starter;
  std::string body;
  double baseline_mm = 0;                // 0: the starter's or the template's own
  std::optional<double> stand_height_m;  // empty: nobody measured it
  std::string out;
  std::string map;
  std::string report;  // folder; empty: none
  bool terms = false;
};

constexpr std::string_view kLearnExample =
    "Examples:\n"
    "  seamwright learn --shot a_front.tif a_back.tif --shot b_front.tif b_back.tif "
    "--body 'Lantern 0117' --out lantern.template.yaml\n"
    "  seamwright learn house/frames --body 'Lantern 0117' --out lantern.template.yaml\n"
    "  seamwright learn house/house.run.yaml --body 'Lantern 0117' --out lantern.template.yaml\n"
    "  seamwright learn --shot both.tif --from lantern.template.yaml --out better.template.yaml\n"
    "\nTake several stands in one room: what two stands both see tells the lenses' angles, indoors "
    "and without anything far away. Single shots of separate rooms leave them weak, and the report "
    "says by how much. A shot that cannot be read is named and left out. "
    "Finishes with findings (exit 2) when a shot had to be left out."
    "\n\nMind people: keep the stand's legs out of walkways and escape routes and mark them, "
    "spread and "
    "weight the stand, look where you step backwards, ask people before you photograph them; never "
    "look at the sun while you point a lens at it. The house's and local rules come first "
    "(docs/shooting.md).";

std::optional<Error> check_lengths(const LearnCommandOptions& options) {
  if (!(options.baseline_mm >= 0 && options.baseline_mm < 10000)) {
    return Error{.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "--baseline-mm",
                 .what = fmt::format("{} is not a distance between lenses", options.baseline_mm),
                 .remedy = "give the distance between the lenses' entrance pupils in millimetres"};
  }
  if (options.stand_height_m && !(*options.stand_height_m > 0 && *options.stand_height_m < 100)) {
    return Error{.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "--stand-height",
                 .what = fmt::format("{} is not a height above the floor", *options.stand_height_m),
                 .remedy = "give the height of the lenses above the floor in metres"};
  }
  return std::nullopt;
}

// Learning takes minutes: a destination that cannot be written, or is one of the shots' files, is
// refused before it.
std::optional<Error> check_outputs(const LearnCommandOptions& options) {
  for (const std::string& file : {options.out, options.map}) {
    if (file.empty()) continue;
    auto probe = PendingFile::create(file);
    if (!probe) return probe.error();
  }
  if (options.report.empty()) return std::nullopt;
  if (auto ready = check_report_folder(options.report); !ready) return ready.error();
  return std::nullopt;
}

// What learning starts from, and the number of lenses that this means.
Result<int> set_start(const LearnCommandOptions& options, LearnOptions& learn) {
  learn.starter = options.starter;
  if (options.from.empty()) {
    const auto starter = starter_template(options.starter, 1000, 1000);  // any size counts lenses
    if (!starter) return tl::unexpected(starter.error());
    return starter->rig().lens_count();
  }
  auto from = read_template(options.from);
  if (!from) return tl::unexpected(from.error());
  if (options.body.empty()) learn.body = from->body;
  learn.mirrored = learn.mirrored || from->mirrored;
  learn.from = std::move(*from);
  return learn.from->rig().lens_count();
}

/// What is learned from, and what stays out.
struct ShotsToLearn {
  std::vector<LearnShot> shots;
  BodyFiles body;
  std::vector<ListedShot> left_out;
};

// Of several bodies in a run those shots that --body names.
std::optional<Error> choose_body(const LearnCommandOptions& options, const std::string& run_file,
                                 RestitchOrder& order) {
  std::set<std::string> bodies;
  for (const auto& [name, parts] : order.parts) bodies.insert(parts.body);
  if (bodies.size() < 2) return std::nullopt;
  if (!bodies.contains(options.body)) {
    return user_error(
        run_file, "--body",
        fmt::format("the run holds shots of {} bodies: {}", bodies.size(), fmt::join(bodies, ", ")),
        "give one of them");
  }
  std::erase_if(order.shots, [&](const ListedShot& shot) {
    const auto parts = order.parts.find(shot.name);
    return parts == order.parts.end() || parts->second.body != options.body;
  });
  return std::nullopt;
}

// How the command line says that frames lie in their files; a shot file says it of its own.
void take_intake(const IntakeOptions& options, ShotFiles& files) {
  if (!files.shot_file.empty()) return;
  const ShotRequest said = options.request({});
  files.intake.mirrored = files.intake.mirrored || said.mirrored;
  if (!said.quarter_turns.empty()) files.intake.quarter_turns = said.quarter_turns;
  if (said.layout && files.intake.layout != FrameLayout::one_per_file) {
    files.intake.layout = *said.layout;
    files.layout_is_said = true;
  }
}

// The shots of run files, folders and files, those of brackets by their middle exposures.
Result<std::vector<ListedShot>> shots_of_places(const LearnCommandOptions& options, int lens_count,
                                                const Console& console) {
  const SplitInputs split = split_inputs(as_paths(options.places));
  std::vector<ListedShot> all;
  for (const std::filesystem::path& file : split.run_files) {
    auto order = open_run_file(file, console.progress());
    if (!order) return tl::unexpected(order.error());
    if (auto error = choose_body(options, file.string(), *order)) return fail(std::move(*error));
    for (ListedShot& shot : order->shots) all.push_back(std::move(shot));
  }
  if (!split.rest.empty()) {
    auto listed = list_shots(split.rest, {}, lens_count, console.progress());
    if (!listed) return tl::unexpected(listed.error());
    for (ListedShot& shot : *listed) {
      take_intake(options.intake, shot.files);
      all.push_back(std::move(shot));
    }
  }
  if (auto error = nothing_left(all)) return fail(std::move(*error));
  std::erase_if(all, [](const ListedShot& shot) { return !shot.panorama.empty(); });
  return all;
}

// One of --shot that is of no use ends the command: somebody named it.
Result<std::vector<ListedShot>> list_all(const LearnCommandOptions& options, int lens_count,
                                         const Console& console) {
  auto all = shots_of_places(options, lens_count, console);
  if (!all) return all;
  for (const auto& files : options.shots) {
    auto found = find_shot_files(options.intake.request(files), lens_count);
    if (!found) return tl::unexpected(found.error());
    ListedShot shot;
    shot.name = found->name;
    shot.files = std::move(*found);
    all->push_back(std::move(shot));
  }
  return all;
}

// Frames are read when learning asks for them; names and hashes now.
Result<ShotsToLearn> open_shots(const LearnCommandOptions& options, int lens_count,
                                LearnOptions& learn, const Console& console) {
  auto all = list_all(options, lens_count, console);
  if (!all) return tl::unexpected(all.error());
  ShotsToLearn found;
  std::vector<ShotFiles> told;
  for (ListedShot& listed : *all) {
    if (listed.failure) {
      found.left_out.push_back(std::move(listed));
      continue;
    }
    ShotFiles& files = listed.files;
    learn.mirrored = learn.mirrored || files.intake.mirrored;
    if (learn.from) take_body_files(files, *learn.from);
    auto shot = shot_to_learn(files);
    if (!shot) return tl::unexpected(shot.error());
    told.push_back(std::move(files));
    found.shots.push_back(std::move(*shot));
  }
  found.body = body_files_of(told);
  return found;
}

constexpr std::string_view kLyingFrames =
    "the rooms' upright edges run level: the frames lie on their side; learn again with --turns "
    "and "
    "the quarter turns that set each upright (the first look of --report shows them)";

Result<Outcome> learn(const LearnCommandOptions& options, const Console& console) {
  if (auto error = check_lengths(options)) return fail(std::move(*error));
  if (options.shots.empty() && options.places.empty()) {
    return fail(user_error({}, "--shot", "no shot to learn from",
                           "give --shot for each, or a folder or *.run.yaml that holds them"));
  }
  LearnOptions learn_options;
  learn_options.mirrored = options.intake.mirrored;
  if (!options.body.empty()) learn_options.body = options.body;
  learn_options.solving.stand_height_m = options.stand_height_m;
  if (options.baseline_mm > 0) learn_options.baseline_m = options.baseline_mm / 1000;
  const auto lens_count = set_start(options, learn_options);
  if (!lens_count) return tl::unexpected(lens_count.error());

  const auto found = open_shots(options, *lens_count, learn_options, console);
  if (!found) return tl::unexpected(found.error());
  if (auto error = check_outputs(options)) return fail(std::move(*error));
  auto outcome = learn_template(found->shots, learn_options, console.progress());
  if (!outcome) return tl::unexpected(outcome.error());
  outcome->rig_template.files = found->body;
  if (frames_lie_on_side(found->shots, *outcome)) outcome->notes.emplace_back(kLyingFrames);
  if (auto written = write_template(options.out, outcome->rig_template); !written) {
    return tl::unexpected(written.error());
  }
  if (!options.map.empty()) {
    if (auto written = write_map(options.map, *outcome); !written) {
      return tl::unexpected(written.error());
    }
  }
  if (!options.report.empty()) {
    const FirstLook look = first_look(found->shots, *outcome);
    if (auto written = write_learn_page(options.report, *outcome, look); !written) {
      return tl::unexpected(written.error());
    }
  }
  tell_learned(console, options.out, *outcome, options.terms);
  nlohmann::json left_out = nlohmann::json::array();
  for (const ListedShot& shot : found->left_out) {
    const std::string why = console.in_words(shot.failure->line());
    console.say(fmt::format("{}: left out: {}", shot.name, why));
    left_out.push_back({{"name", readable_text(shot.name)}, {"why", why}});
  }
  if (console.json()) {
    nlohmann::json answer = learned_as_json(options.out, *outcome);
    answer["left_out"] = std::move(left_out);
    console.answer(answer);
  }
  if (!found->left_out.empty()) return Outcome::findings;
  for (const ShotOutcome& shot : outcome->shots) {
    if (!shot.left_out.empty()) return Outcome::findings;
  }
  return Outcome::done;
}

}  // namespace

void add_learn(Program& program) {
  const auto options = std::make_shared<LearnCommandOptions>();
  CLI::App& command = program.add_command(
      "learn", "Learn a body's template from shots taken with it", std::string(kLearnExample),
      [options](const Console& console) { return learn(*options, console); });
  command
      .add_option("--shot", options->shots,
                  "One shot: a file per lens, one file with all lenses, or a *.shot.yaml; repeat "
                  "for every shot")
      ->type_name(value_kind::kFile);
  command
      .add_option("shots", options->places,
                  "*.run.yaml, folders of frames, frames, *.shot.yaml: learn from all of their "
                  "shots as well")
      ->type_name(value_kind::kPath);
  command.add_option("--out", options->out, "Template to write, *.template.yaml")
      ->type_name(value_kind::kNewFile)
      ->required();
  command.add_option("--from", options->from, "Start from this template of the same body")
      ->type_name(value_kind::kFile);
  command
      .add_option(
          "--lenses", options->starter,
          fmt::format("Without --from: the nominal geometry, {}", fmt::join(starter_names(), ", ")))
      ->check(CLI::IsMember(starter_names()))
      ->capture_default_str();
  command.add_option("--body", options->body, "Label of the body, e.g. 'Lantern 0117'");
  command.add_option("--baseline-mm", options->baseline_mm,
                     "Distance of the first two entrance pupils, the scale of all depths; "
                     "otherwise the start's own (27 for two-back-to-back)");
  command.add_option("--stand-height", options->stand_height_m,
                     "Height of the lenses above the floor in metres, measured; counts for shots "
                     "that all stand alone. Without it anything from 0.5 to 3 is thought possible");
  command
      .add_option("--map", options->map,
                  "Also write where the shots stood, *.json: positions, headings, sigmas")
      ->type_name(value_kind::kNewFile);
  command
      .add_option("--report", options->report,
                  "Folder for report.html, a page that shows how good the template is and what "
                  "would make it better")
      ->type_name(value_kind::kNewFolder);
  command.add_flag("--terms", options->terms, "Print every term with its standard deviation");
  options->intake.add_to(command);
}

}  // namespace seamwright
