#include <filesystem>
#include <memory>
#include <system_error>

#include <fmt/format.h>
#include <fmt/ranges.h>
#include <nlohmann/json.hpp>

#include "apps/cli/archive_report.h"
#include "apps/cli/file_options.h"
#include "apps/cli/intake_options.h"
#include "apps/cli/program.h"
#include "base/file.h"
#include "base/folder_of.h"
#include "base/readable_text.h"
#include "base/user_error.h"
#include "jobs/archive/run.h"
#include "jobs/restitch/open_run.h"
#include "jobs/tour/make_tour.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

struct TourOptions {
  std::vector<std::string> inputs;
  std::string out;
  std::string map;
  std::string save;
  std::string title;
};

constexpr std::string_view kTourExample =
    "Examples:\n"
    "  seamwright tour house/house.run.yaml --map house/stands.json --save house/house.tour.json "
    "--out house/tour\n"
    "  seamwright tour house/house.tour.json --out house/tour\n"
    "\nMakes a folder that shows the stitched rooms: index.html, which a browser opens from the "
    "disk "
    "or from any web server, and the pictures beside it. With a map ('learn --map') each room "
    "shows "
    "a lantern where its neighbours stand. The first form writes what the tour says: names, places "
    "and links. Edit that file, and the second form makes the folder by it. Finishes with findings "
    "(exit 2) when a room is left out or no link leads to it.";

std::string title_of(const TourOptions& options) {
  if (!options.title.empty()) return options.title;
  const fs::path first = fs::path(options.inputs.front()).lexically_normal();
  const std::string name = (first.has_filename() ? first : first.parent_path()).filename().string();
  const std::string stem = name.substr(0, name.find('.'));
  return stem.empty() ? "Tour" : stem;
}

/// A tour, the folder that its panoramas are relative to, and what it lacks.
struct OpenTour {
  Tour tour;
  fs::path folder;
  std::vector<Error> left_out;
};

Result<OpenTour> open_edited(const TourOptions& options) {
  for (const auto& [option, given] :
       {std::pair{"map", !options.map.empty()}, std::pair{"save", !options.save.empty()},
        std::pair{"title", !options.title.empty()}}) {
    if (!given) continue;
    return fail(option_error(option, "is of no use beside a tour file", "edit the tour file"));
  }
  if (options.inputs.size() > 1) {
    return fail(user_error(options.inputs[1], {}, "stands beside a tour file",
                           "give the tour file alone; it names its rooms"));
  }
  const fs::path file = options.inputs.front();
  auto tour = read_tour_file(file);
  if (!tour) return tl::unexpected(tour.error());
  return OpenTour{.tour = std::move(*tour), .folder = folder_of(file), .left_out = {}};
}

Result<OpenTour> open_rooms(const TourOptions& options, const Console& console) {
  auto found = stitched_rooms(as_paths(options.inputs), console.progress());
  if (!found) return tl::unexpected(found.error());
  if (found->rooms.empty()) {
    if (!found->left_out.empty()) return fail(found->left_out.front());
    return fail(user_error(options.inputs.front(), {}, "holds no panorama",
                           "stitch the rooms first, with 'restitch'"));
  }
  MapFile map;
  if (!options.map.empty()) {
    auto read = read_map_file(options.map);
    if (!read) return tl::unexpected(read.error());
    map = std::move(*read);
  }
  const fs::path folder = folder_of(options.save.empty() ? options.out : options.save);
  OpenTour open{.tour = first_tour(found->rooms, map, title_of(options), folder),
                .folder = folder,
                .left_out = std::move(found->left_out)};
  if (auto error = open.tour.validate()) return fail(std::move(*error));
  const auto lost = rooms_without_place(open.tour);
  if (!options.map.empty() && !lost.empty()) {
    open.left_out.push_back(user_error(
        options.map, "stands", fmt::format("have no place for {}", fmt::join(lost, ", ")),
        "make the map from the shots of this run, or link these rooms by hand"));
  }
  return open;
}

std::vector<std::string> findings_of(const OpenTour& open, const RunReport& report,
                                     const Console& console) {
  std::vector<std::string> findings;
  for (const Error& error : open.left_out) findings.push_back(console.in_words(error.line()));
  for (const ItemOutcome& item : report.items) {
    if (item.state != ItemState::failed) continue;
    findings.push_back(fmt::format("{}: left out: {}", item.name, console.in_words(item.why)));
  }
  const auto beyond = rooms_out_of_reach(open.tour);
  if (!beyond.empty()) {
    findings.push_back(fmt::format("no link leads from {} to {}; add links to the tour file",
                                   open.tour.start, fmt::join(beyond, ", ")));
  }
  return findings;
}

nlohmann::json as_json(const Tour& tour, const RunReport& report, const fs::path& page,
                       const std::vector<std::string>& findings, const Console& console) {
  nlohmann::json answer = archive_json(report);
  answer["command"] = "tour";
  answer["rooms"] = items_json(report, console);
  answer["links"] = tour.links.size();
  answer["page"] = readable_text(page.string());
  answer["findings"] = findings;
  return answer;
}

Result<Outcome> tour(const TourOptions& options, const Console& console) {
  const bool edited = is_tour_file(options.inputs.front());
  const auto open = edited ? open_edited(options) : open_rooms(options, console);
  if (!open) return tl::unexpected(open.error());
  const MakeTour making(open->tour, open->folder, options.out);
  std::error_code code;
  fs::create_directories(options.out, code);
  if (auto error = making.refused()) return fail(std::move(*error));
  if (!options.save.empty()) {
    if (auto saved = write_file(options.save, format_tour(open->tour)); !saved) {
      return tl::unexpected(saved.error());
    }
  }
  RunOptions run{.folder = options.out};
  run.journal = MakeTour::kJournal;
  const auto report = run_archive(
      making.items(), run,
      [&](const ArchiveItem& item) -> Result<std::vector<std::string>> {
        if (auto made = making.make(item, console.hushed().progress()); !made) {
          return tl::unexpected(made.error());
        }
        return std::vector<std::string>{};
      },
      [&](const ItemOutcome&, int at, int of) {
        return console.progress()({.stage = "cutting rooms", .fraction = 1.0 * at / of});
      });
  if (!report) return tl::unexpected(report.error());
  if (report->stopped) return fail(stopped_while("cutting rooms"));
  if (auto written = making.write_page(report->items); !written) {
    return tl::unexpected(written.error());
  }
  const auto findings = findings_of(*open, *report, console);
  for (const std::string& finding : findings) console.say("finding: " + finding);
  console.say(fmt::format("{} rooms, {} links; {} rooms cut, {} cut before",
                          open->tour.rooms.size(), open->tour.links.size(),
                          report->count(ItemState::done), report->count(ItemState::unchanged)));
  if (!options.save.empty()) console.say("written: " + options.save);
  console.say("written: " + making.page_file().string());
  if (console.json()) {
    console.answer(as_json(open->tour, *report, making.page_file(), findings, console));
  }
  return findings.empty() ? Outcome::done : Outcome::findings;
}

}  // namespace

void add_tour(Program& program) {
  const auto options = std::make_shared<TourOptions>();
  CLI::App& command = program.add_command(
      "tour", "Join stitched rooms to a tour that a browser opens from a folder",
      std::string(kTourExample),
      [options](const Console& console) { return tour(*options, console); });
  command
      .add_option("inputs", options->inputs,
                  "Panoramas, folders of them, run files; or one tour file (*.tour.json)")
      ->type_name(value_kind::kPath)
      ->required();
  command.add_option("--out", options->out, "Folder of the tour; made when missing")
      ->type_name(value_kind::kNewFolder)
      ->required();
  command.add_option("--map", options->map, "Where the shots stood, by 'learn --map'")
      ->type_name(value_kind::kFile);
  command
      .add_option("--save", options->save,
                  "Tour file to write (*.tour.json): names, places and links, to be edited")
      ->type_name(value_kind::kNewFile);
  command.add_option("--title", options->title,
                     "What the tour is called; the run's name if left out");
}

}  // namespace seamwright
