#include "jobs/restitch/restitch.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <set>
#include <string>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/archive_report.h"
#include "apps/cli/check_page.h"
#include "apps/cli/check_report.h"
#include "apps/cli/check_run.h"
#include "apps/cli/file_options.h"
#include "apps/cli/given_words.h"
#include "apps/cli/look_options.h"
#include "apps/cli/program.h"
#include "apps/cli/restitch_options.h"
#include "apps/cli/restitch_report.h"
#include "apps/cli/restitch_slurm.h"
#include "base/file.h"
#include "base/readable_text.h"
#include "base/side_by_side.h"
#include "jobs/archive/run.h"
#include "jobs/restitch/run_look.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr std::string_view kRestitchExample =
    "Examples:\n"
    "  seamwright restitch archive/2024 --template my.template.yaml --out panoramas --width 16384\n"
    "  seamwright restitch archive/2024 --template a.yaml --template b.yaml --out panoramas "
    "--dry-run\n"
    "  seamwright restitch archive.run.yaml --part 3/16\n"
    "\nStitches every shot that the folders hold, and skips what was stitched from the very same "
    "frames, template and options before. Can be stopped or killed at any moment and started "
    "again. Of several templates each shot takes the one that fits it best. With --part several "
    "machines share the work; the same command without it then does what is missing and reports "
    "all.\n"
    "A shot that cannot be read or grouped is named and left out; the rest goes on.\n"
    "A shot that does not fit the template is refused with its cause, unless --anyway says "
    "otherwise; that of a knocked body is touched and told.\n"
    "Finishes with findings (exit 2) when a shot failed or has something to look at, and with 1 "
    "when all of them failed.";

struct Part {
  int part = 1;
  int parts = 1;
};

Result<Part> parse_part(const std::string& text) {
  if (text.empty()) return Part{};
  Part part;
  char slash = 0, rest = 0;
  const int read = std::sscanf(text.c_str(), "%d%c%d%c", &part.part, &slash, &part.parts, &rest);
  if (read == 3 && slash == '/' && part.part >= 1 && part.part <= part.parts &&
      part.parts <= 100000) {
    return part;
  }
  return fail({.kind = ErrorKind::user_input,
               .where = {},
               .field = "--part",
               .what = fmt::format("'{}' is not one part of several", text),
               .remedy = "give K/N with K from 1 to N, such as 3/16"});
}

/// All that one command is about.
struct RestitchWork {
  const RestitchOptions& command;
  const RunRequest& request;
  Part part;
  Restitch restitch;
};

std::optional<Error> page_without_work(const RestitchOptions& command) {
  if (command.page.empty() || !command.dry_run) return std::nullopt;
  return Error{.kind = ErrorKind::user_input,
               .where = {},
               .field = "--page",
               .what = "is written after the work, and --dry-run does none",
               .remedy = "leave one of them out; 'seamwright check' needs no stitch"};
}

// Every frame is known now. A panorama that may not be written fails its own shot only.
Result<void> page_and_script_are_free(const RestitchOptions& command) {
  std::vector<fs::path> outputs;
  if (!command.page.empty()) outputs.emplace_back(command.page);
  if (!command.emit.empty()) outputs.emplace_back(command.emit);
  return check_destinations(outputs);
}

// What each job of a script is told apart, and what only the call that wrote the script is about.
const std::set<std::string> kNotForJobs = {"--part", "--emit-slurm", "--dry-run", "--json",
                                           "--page"};

Result<Outcome> emit(const RestitchWork& work, const Console& console) {
  const std::string& emitted = work.command.emit;
  const std::string report =
      (fs::absolute(work.request.out) / "restitch-report.json").lexically_normal().string();
  const std::string script = slurm_script(given_words(*work.command.command, kNotForJobs),
                                          std::max(2, work.part.parts), report);
  if (auto written = write_file(emitted, script); !written) return tl::unexpected(written.error());
  console.say(fmt::format("{}: start it with: sh {}", emitted, shell_word(emitted)));
  return Outcome::done;
}

// The shots as they were stitched, worst first, told and written as a page.
Result<std::vector<Checked>> check_all(const RestitchWork& work, const RunReport& report,
                                       const Console& console) {
  const RestitchOptions& command = work.command;
  CheckRunOptions options{.pictures = true};
  options.check.as_stitched = true;
  options.check.level = work.request.wishes.level.upright != Upright::find;
  options.check.seams = work.request.wishes.seam == SeamKind::depth;
  std::vector<Checked> all;
  for (const ItemOutcome& item : report.items) {
    const auto fit = work.restitch.day_fit().of(item.name);
    const bool refused = fit && fit->verdict == FitVerdict::refused;
    if (item.state == ItemState::failed && !refused) {
      all.push_back({.found = {.name = item.name, .findings = {}}, .failure = item.why});
      continue;
    }
    options.told = console.in_words(item.findings);
    auto checked = check_opened(work.restitch.name_of(item.name), work.restitch.open(item.name),
                                options, console);
    if (!checked) return tl::unexpected(checked.error());
    all.push_back(std::move(*checked));
  }
  rank(all);
  tell_checked(console, all);
  if (auto written = write_file(command.page, check_page(all)); !written) {
    return tl::unexpected(written.error());
  }
  console.say(command.page);
  return all;
}

int at_once(const RestitchWork& work) {
  const RunBudget& budget = work.request.budget;
  const int threads = threads_to_use();
  if (shots_at_once(budget, threads, 0) == 1) return 1;  // no shot need be asked for its size
  return shots_at_once(budget, threads, work.restitch.largest_shot_gib());
}

// Before any stitch: what a room's panorama is made by hangs on all the other rooms.
Result<RunLookReport> decide_look(RestitchWork& work, const Console& console) {
  const auto keep = work.command.dry_run ? RoomLights::Keep::no : RoomLights::Keep::yes;
  auto decided = decide_run_look(work.restitch, work.request.out, keep, console.progress());
  if (!decided) return decided;
  if (!decided->looks.empty()) {
    console.say(fmt::format("one look for {} rooms", decided->looks.size()));
  }
  for (const auto& [item, lacking_ev] : decided->lacking_ev) {
    console.say(
        fmt::format("{}: note: {:.1f} stops too {} for the look of the others: single frames "
                    "are changed by one stop at most, brackets hold more",
                    item, std::abs(lacking_ev), lacking_ev > 0 ? "dark" : "bright"));
  }
  return decided;
}

nlohmann::json looks_as_json(const RunLookReport& decided) {
  nlohmann::json looks = nlohmann::json::object();
  for (const auto& [item, look] : decided.looks) looks[readable_text(item)] = look_json(look);
  return looks;
}

Result<Outcome> carry_out(RestitchWork& work, const Console& console) {
  const RestitchOptions& command = work.command;
  if (!command.dry_run) {
    std::error_code code;
    fs::create_directories(work.request.out, code);
  }
  const auto decided = decide_look(work, console);
  if (!decided) return tl::unexpected(decided.error());
  const RunOptions options{.folder = work.request.out,
                           .part = work.part.part,
                           .parts = work.part.parts,
                           .dry_run = command.dry_run,
                           .read_all = command.verify,
                           .at_once = at_once(work)};
  RestitchTeller teller(console, work.restitch,
                        {.folder = work.request.out,
                         .width_px = work.request.wishes.width_px,
                         .dry_run = command.dry_run,
                         .verify = command.verify,
                         .all_said = by_run_file(command)});
  const auto report = run_archive(
      work.restitch.items(), options,
      [&](const ArchiveItem& item) {
        return work.restitch.stitch(item, console.hushed().progress());
      },
      [&](const ItemOutcome& item, int at, int of) { return teller.tell_one(item, at, of); });
  if (!report) return tl::unexpected(report.error());
  teller.tell_all(*report);
  bool well = all_is_well(*report, command.dry_run);
  nlohmann::json answer = as_json(*report, work.restitch, console);
  answer["command"] = "restitch";
  if (!decided->looks.empty()) answer["looks"] = looks_as_json(*decided);
  answer["part"] = work.part.part;
  answer["parts"] = work.part.parts;
  if (!command.page.empty() && !report->stopped) {
    const auto checked = check_all(work, *report, console);
    if (!checked) return tl::unexpected(checked.error());
    well = well && std::all_of(checked->begin(), checked->end(), nothing_wrong);
    answer["checked"] = checked_as_json(*checked)["shots"];
  }
  if (console.json()) console.answer(answer);
  if (outcome_of(*report) == Outcome::user_error) return Outcome::user_error;
  return well ? Outcome::done : Outcome::findings;
}

Result<Outcome> restitch(const RestitchOptions& given, const Console& console) {
  const auto request = run_request(given);
  if (!request) return tl::unexpected(request.error());
  if (auto error = given.budget.validate()) return fail(std::move(*error));
  const auto part = parse_part(given.part);
  if (!part) return tl::unexpected(part.error());
  auto order = open_run(*request, console.progress());
  if (!order) return tl::unexpected(order.error());
  RestitchWork work{.command = given,
                    .request = *request,
                    .part = *part,
                    .restitch = Restitch(std::move(*order))};
  if (auto error = work.restitch.nothing_to_do()) return fail(std::move(*error));
  if (auto free = page_and_script_are_free(given); !free) return tl::unexpected(free.error());
  if (!given.emit.empty()) return emit(work, console);
  if (auto error = page_without_work(given)) return fail(std::move(*error));
  return carry_out(work, console);
}

}  // namespace

void add_restitch(Program& program) {
  const auto options = std::make_shared<RestitchOptions>();
  CLI::App& command = program.add_command(
      "restitch", "Stitch an archive of shots, as often as is needed and no more",
      std::string(kRestitchExample),
      [options](const Console& console) { return restitch(*options, console); });
  options->command = &command;
  command
      .add_option("inputs", options->inputs,
                  "Folders of frames, frames, *.shot.yaml; or one *.run.yaml that says all")
      ->type_name(value_kind::kPath)
      ->required();
  add_run_options(command, *options);
  command.add_option("--at-once", options->budget.shots,
                     "Shots to stitch side by side; as many as threads and memory allow if not "
                     "given");
  command.add_option("--memory-gib", options->budget.memory_gib,
                     "Memory for all of them, about; half of the machine's if not given");
  command.add_option("--part", options->part, "K/N: only this share of the shots");
  command
      .add_option("--emit-slurm", options->emit,
                  "Write a script of a Slurm job array (as many jobs as --part 1/N says) and "
                  "stop")
      ->type_name(value_kind::kNewFile);
  command
      .add_option("--page", options->page,
                  "Then check every shot, and write the list, worst first, as an HTML page")
      ->type_name(value_kind::kNewFile);
  command.add_flag("--verify", options->verify,
                   "Read every frame and panorama again, whatever their times say, and stitch what "
                   "the disk has damaged");
  command.add_flag("--dry-run", options->dry_run, "Show what would be done and why, write nothing");
}

}  // namespace seamwright
