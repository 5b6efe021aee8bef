#include <filesystem>
#include <memory>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/file_options.h"
#include "apps/cli/finish_many.h"
#include "apps/cli/finish_options.h"
#include "apps/cli/program.h"
#include "apps/cli/wish_options.h"
#include "base/user_error.h"
#include "jobs/finishing/finish_panorama.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr std::string_view kFinishExample =
    "Examples:\n"
    "  seamwright finish room.tif --level --cover-deg 18 --out room-done.tif --jpeg room.jpg "
    "--jpeg-width 4096\n"
    "  seamwright finish room.tif --floor-out floor.tif        (retouch floor.tif, then)\n"
    "  seamwright finish room.tif --floor-in floor.tif --out room-done.tif\n"
    "  seamwright finish panoramas --into web --write jpeg tiles --jpeg-width 4096\n"
    "  seamwright finish house/house.run.yaml --into floors --write floor\n"
    "\nSteps are done in this order: glow, mirror, level, edited floor, cover, plate; then the "
    "files are "
    "written. The panorama itself is never changed. Levelling here resamples once more; 'stitch "
    "--level' does not.\n"
    "With --into the panoramas of folders and of runs are finished alike under their own names. "
    "What was done before from the very same panorama and options is skipped, so that it can be "
    "stopped or killed at any moment and started again. One that cannot be finished is named and "
    "left out.\n"
    "Finishes with findings (exit 2) when a step's result should be looked at or a panorama "
    "failed, and with 1 when all of them failed.";

FinishFiles files_of(const FinishOptions& options) {
  FinishFiles files{.wanted = options.numbers(), .floor_out = options.floor_out};
  files.wanted.picture = options.out;
  files.wanted.jpeg = options.jpeg;
  files.wanted.exr = options.exr;
  files.wanted.faces = options.faces;
  files.wanted.tiles = options.tiles;
  return files;
}

std::vector<std::string> as_words(const std::vector<fs::path>& files) {
  std::vector<std::string> words;
  for (const fs::path& file : files) words.push_back(file.string());
  return words;
}

nlohmann::json as_json(const FinishReport& report, const FinishOptions& options,
                       const FinishWish& wish, const FinishFiles& files) {
  nlohmann::json object = {{"command", "finish"},
                           {"panorama", options.inputs.front()},
                           {"width_px", report.width_px},
                           {"height_px", report.height_px},
                           {"written", as_words(files.named())},
                           {"heading_deg", report.heading_deg},
                           {"location", report.location},
                           {"findings", report.findings}};
  if (wish.turn.turns()) object["level"] = level_json(wish.turn, report.levelled);
  if (!wish.floor_in.empty()) {
    object["floor"] = {{"edited_px", report.floor.edited_px},
                       {"changed_px", report.floor.changed_px}};
  }
  return object;
}

Result<Outcome> finish_one(const FinishOptions& options, const Console& console) {
  const auto wish = options.wish();
  if (!wish) return tl::unexpected(wish.error());
  if (auto error = wish->validate()) return fail(std::move(*error));
  const FinishFiles files = files_of(options);
  if (files.named().empty()) {
    return fail(option_error("--out", "nothing to write is named",
                             "give --out, --jpeg, --exr, --faces, --tiles or --floor-out"));
  }
  const auto report = finish_panorama(options.inputs.front(), *wish, files, console.progress());
  if (!report) return fail(options.level.in_words(report.error()));
  tell_level(console, report->levelled);
  if (!wish->floor_in.empty()) {
    console.say(fmt::format("floor: {} pixels edited, {} of the panorama changed",
                            report->floor.edited_px, report->floor.changed_px));
  }
  for (const fs::path& file : files.named()) console.say("written: " + file.string());
  for (const std::string& finding : report->findings) console.say("finding: " + finding);
  if (console.json()) console.answer(as_json(*report, options, *wish, files));
  return report->findings.empty() ? Outcome::done : Outcome::findings;
}

Result<Outcome> finish(const FinishOptions& options, const Console& console) {
  return options.is_many() ? finish_many(options, console) : finish_one(options, console);
}

}  // namespace

void add_finish(Program& program) {
  const auto options = std::make_shared<FinishOptions>();
  CLI::App& command = program.add_command(
      "finish", "Set a panorama upright, retouch its floor, hide the stand, write what people need",
      std::string(kFinishExample),
      [options](const Console& console) { return finish(*options, console); });
  options->add_to(command);
}

}  // namespace seamwright
