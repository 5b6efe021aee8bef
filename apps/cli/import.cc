#include <algorithm>
#include <memory>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/contact_page.h"
#include "apps/cli/file_options.h"
#include "apps/cli/intake_options.h"
#include "apps/cli/program.h"
#include "base/file.h"
#include "base/readable_text.h"
#include "jobs/card/import_card.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

struct ImportOptions {
  std::string card;
  std::string out;
  std::vector<std::string> templates;
  bool in_place = false;
  double rest_s = ImportRequest{}.rest_s;
};

constexpr std::string_view kImportExample =
    "Examples:\n"
    "  seamwright import card --out house --template my.template.yaml\n"
    "  seamwright restitch house/house.run.yaml\n"
    "\nFinds the shots on a card, in all of its folders, and copies its pictures into "
    "house/frames, each held against its hash. Writes house/house.run.yaml, one line a shot, which "
    "'restitch' takes, and house/contact.html, a picture of each. Doing it again copies what is "
    "missing and adds what is new; names and settings that were changed in the run file stay. "
    "Finishes with findings (exit 2) when a file or a shot is odd: each is one line.";

fs::path page_of(const fs::path& house) { return house / "contact.html"; }

void tell_shots(const Console& console, const ImportReport& report) {
  std::size_t wide = 4;
  for (const ImportedShot& shot : report.shots) wide = std::max(wide, shot.name.size());
  for (const ImportedShot& shot : report.shots) {
    console.say(fmt::format("{:<{}}  {}{}{}{}", shot.name, wide,
                            shot.body.empty() ? "body unknown" : shot.body,
                            shot.steps.empty() ? "" : ", " + shot.steps + " EV",
                            shot.is_new ? ", new" : "", shot.skipped ? ", left out" : ""));
  }
}

void tell_odd(const Console& console, const ImportReport& report) {
  for (const ImportedShot& shot : report.shots) {
    for (const std::string& odd : shot.odd) {
      console.say(fmt::format("finding: {}: {}", shot.name, odd));
    }
  }
  for (const CardNote& note : report.odd) {
    console.say(fmt::format("finding: {}: {}", printable_text(note.about), note.words));
  }
}

void tell_import(const Console& console, const ImportReport& report) {
  tell_shots(console, report);
  tell_odd(console, report);
  const auto fresh = std::count_if(report.shots.begin(), report.shots.end(),
                                   [](const ImportedShot& shot) { return shot.is_new; });
  console.say(fmt::format(
      "{} shots, {} of them new; {} pictures copied, {} were there, {} copies "
      "of others and {} other files left out",
      report.shots.size(), fresh, report.copied, report.were_there, report.copies, report.others));
}

nlohmann::json as_json(const ImportReport& report) {
  nlohmann::json shots = nlohmann::json::array();
  for (const ImportedShot& shot : report.shots) {
    shots.push_back({{"name", readable_text(shot.name)},
                     {"time", shot.time},
                     {"body", readable_text(shot.body)},
                     {"steps", shot.steps},
                     {"new", shot.is_new},
                     {"left_out", shot.skipped},
                     {"odd", shot.odd}});
  }
  nlohmann::json odd = nlohmann::json::array();
  for (const CardNote& note : report.odd) {
    odd.push_back({{"about", readable_text(note.about)}, {"words", readable_text(note.words)}});
  }
  return {{"command", "import"},
          {"run_file", readable_text(report.run_file.string())},
          {"shots", shots},
          {"odd", odd},
          {"copied", report.copied},
          {"were_there", report.were_there},
          {"copies", report.copies},
          {"other_files", report.others},
          {"changed", report.run_file_changed}};
}

Result<Outcome> import(const ImportOptions& options, const Console& console) {
  const fs::path page = page_of(options.out);
  if (auto free = check_destinations(std::vector<fs::path>{page}); !free && fs::exists(page)) {
    return tl::unexpected(free.error());
  }
  const auto report = import_card({.card = options.card,
                                   .house = options.out,
                                   .templates = as_paths(options.templates),
                                   .in_place = options.in_place,
                                   .rest_s = options.rest_s},
                                  console.progress());
  if (!report) return tl::unexpected(report.error());
  if (auto done = write_file(page, contact_page(*report, console.progress())); !done) {
    return tl::unexpected(done.error());
  }
  tell_import(console, *report);
  console.say("written: " + page.string());
  if (report->run_file_changed) console.say("written: " + report->run_file.string());
  if (!report->has_templates) {
    console.say("no template was given: name the body's in the run file, or give --template");
  }
  if (console.json()) console.answer(as_json(*report));
  return report->clean() ? Outcome::done : Outcome::findings;
}

}  // namespace

void add_import(Program& program) {
  const auto options = std::make_shared<ImportOptions>();
  CLI::App& command = program.add_command(
      "import", "Find the shots on a card, copy them, and write the run file of the day",
      std::string(kImportExample),
      [options](const Console& console) { return import(*options, console); });
  command.add_option("card", options->card, "Folder where the card's files lie, at any depth")
      ->type_name(value_kind::kPath)
      ->required();
  command.add_option("--out", options->out, "Folder of the day; made when missing")
      ->type_name(value_kind::kNewFolder)
      ->required();
  command
      .add_option("--template", options->templates,
                  "Template of a body; of several, each body takes the one that is its own")
      ->type_name(value_kind::kFile)
      ->allow_extra_args(false);
  command.add_flag("--in-place", options->in_place, "Leave the pictures where they are");
  command.add_option("--rest-s", options->rest_s, "Rest between two shots, seconds")
      ->capture_default_str();
}

}  // namespace seamwright
