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
#include "jobs/learning/shot_to_learn.h"
#include "jobs/restitch/open_run.h"
#include "jobs/shot/body_files.h"
#include "jobs/shot/shot_files.h"

namespace seamwright {

namespace {

struct LearnCommandOptions {
  std::vector<std::vector<std::string>> shots;
  std::string run_file;  ///< whose shots are learned from as well; empty: none
  IntakeOptions intake;
  std::string from;
  std::string starter = LearnOptions{}.starter;
  std::string body;
  double baseline_mm = 0;  // 0: the starter's or the template's own
  double stand_height_m = LearnRigOptions{}.stand_height_m;
  std::string out;
  std::string map;
  std::string report;  // folder; empty: none
  bool terms = false;
};

constexpr std::string_view kLearnExample =
    "Examples:\n"
    "  seamwright learn --shot a_front.tif a_back.tif --shot b_front.tif b_back.tif "
    "--body 'Lantern 0117' --out lantern.template.yaml\n"
    "  seamwright learn house/house.run.yaml --body 'Lantern 0117' --out lantern.template.yaml\n"
    "  seamwright learn --shot both.tif --from lantern.template.yaml --out better.template.yaml\n"
    "\nTake several stands in one room: what two stands both see tells the lenses' angles, indoors "
    "and without anything far away. Single shots of separate rooms leave them weak, and the report "
    "says by how much. Finishes with findings (exit 2) when a shot had to be left out."
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
  if (!(options.stand_height_m > 0 && options.stand_height_m < 100)) {
    return Error{.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "--stand-height",
                 .what = fmt::format("{} is not a height above the floor", options.stand_height_m),
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

Error learn_error(std::string where, std::string field, std::string what, std::string remedy) {
  return {.kind = ErrorKind::user_input,
          .where = std::move(where),
          .field = std::move(field),
          .what = std::move(what),
          .remedy = std::move(remedy)};
}

// Of several bodies in a run those shots that --body names.
std::optional<Error> choose_body(const LearnCommandOptions& options, RestitchOrder& order) {
  std::set<std::string> bodies;
  for (const auto& [name, parts] : order.parts) bodies.insert(parts.body);
  if (bodies.size() < 2) return std::nullopt;
  if (!bodies.contains(options.body)) {
    return learn_error(
        options.run_file, "--body",
        fmt::format("the run holds shots of {} bodies: {}", bodies.size(), fmt::join(bodies, ", ")),
        "give one of them");
  }
  std::erase_if(order.shots, [&](const ListedShot& shot) {
    const auto parts = order.parts.find(shot.name);
    return parts == order.parts.end() || parts->second.body != options.body;
  });
  return std::nullopt;
}

// The shots of a run, those of brackets by their middle exposures.
Result<std::vector<ShotFiles>> shots_of_run(const LearnCommandOptions& options,
                                            const Console& console) {
  std::vector<ShotFiles> shots;
  if (options.run_file.empty()) return shots;
  const auto request = read_run_request(options.run_file);
  if (!request) return tl::unexpected(request.error());
  auto order = open_run(*request, console.progress());
  if (!order) return tl::unexpected(order.error());
  if (auto error = choose_body(options, *order)) return fail(std::move(*error));
  if (auto error = nothing_left(order->shots)) return fail(std::move(*error));
  for (ListedShot& shot : order->shots) {
    if (!shot.failure && shot.panorama.empty()) shots.push_back(std::move(shot.files));
  }
  return shots;
}

// Frames are read when learning asks for them; names and hashes now.
Result<std::vector<LearnShot>> open_shots(const LearnCommandOptions& options, int lens_count,
                                          LearnOptions& learn, BodyFiles& body,
                                          const Console& console) {
  std::vector<LearnShot> shots;
  auto all = shots_of_run(options, console);
  if (!all) return tl::unexpected(all.error());
  std::vector<ShotFiles> told;
  for (const auto& files : options.shots) {
    auto found = find_shot_files(options.intake.request(files), lens_count);
    if (!found) return tl::unexpected(found.error());
    all->push_back(std::move(*found));
  }
  for (ShotFiles& found : *all) {
    learn.mirrored = learn.mirrored || found.intake.mirrored;
    if (learn.from) take_body_files(found, *learn.from);
    told.push_back(found);
    auto shot = shot_to_learn(std::move(found));
    if (!shot) return tl::unexpected(shot.error());
    shots.push_back(std::move(*shot));
  }
  body = body_files_of(told);
  return shots;
}

Result<Outcome> learn(const LearnCommandOptions& options, const Console& console) {
  if (auto error = check_lengths(options)) return fail(std::move(*error));
  if (options.shots.empty() && options.run_file.empty()) {
    return fail(learn_error({}, "--shot", "no shot to learn from",
                            "give --shot for each, or the *.run.yaml that names them"));
  }
  LearnOptions learn_options;
  learn_options.mirrored = options.intake.mirrored;
  if (!options.body.empty()) learn_options.body = options.body;
  learn_options.solving.stand_height_m = options.stand_height_m;
  if (options.baseline_mm > 0) learn_options.baseline_m = options.baseline_mm / 1000;
  const auto lens_count = set_start(options, learn_options);
  if (!lens_count) return tl::unexpected(lens_count.error());

  BodyFiles body_files;
  const auto shots = open_shots(options, *lens_count, learn_options, body_files, console);
  if (!shots) return tl::unexpected(shots.error());
  if (auto error = check_outputs(options)) return fail(std::move(*error));
  auto outcome = learn_template(*shots, learn_options, console.progress());
  if (!outcome) return tl::unexpected(outcome.error());
  outcome->rig_template.files = std::move(body_files);
  if (auto written = write_template(options.out, outcome->rig_template); !written) {
    return tl::unexpected(written.error());
  }
  if (!options.map.empty()) {
    if (auto written = write_map(options.map, *outcome); !written) {
      return tl::unexpected(written.error());
    }
  }
  if (!options.report.empty()) {
    const FirstLook look = first_look(*shots, *outcome);
    if (auto written = write_learn_page(options.report, *outcome, look); !written) {
      return tl::unexpected(written.error());
    }
  }
  tell_learned(console, options.out, *outcome, options.terms);
  if (console.json()) console.answer(learned_as_json(options.out, *outcome));
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
  command.add_option("run", options->run_file, "*.run.yaml: learn from all of its shots as well")
      ->type_name(value_kind::kFile);
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
  command
      .add_option("--stand-height", options->stand_height_m,
                  "Height of the lenses above the floor in metres; counts for shots that all stand "
                  "alone")
      ->capture_default_str();
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
