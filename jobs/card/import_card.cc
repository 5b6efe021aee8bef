#include "jobs/card/import_card.h"

#include <algorithm>
#include <map>
#include <set>
#include <system_error>
#include <utility>

#include <fmt/format.h>

#include "base/enum_names.h"
#include "base/file.h"
#include "base/file_guard.h"
#include "base/make_folder.h"
#include "base/readable_text.h"
#include "imaging/metadata.h"
#include "imaging/read_image.h"
#include "jobs/card/card_shots.h"
#include "jobs/card/copy_file.h"
#include "jobs/card/shot_lines.h"
#include "templates/choice_names.h"
#include "templates/yaml_tree.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr const char* kFrames = "frames";
constexpr const char* kOut = "panoramas";

constexpr std::string_view kHead =
    "# One line a shot. Names may be changed; 'skip: true' leaves a shot out; whatever is said "
    "for\n"
    "# all shots may be said of one, such as cover_deg: 25. Importing again keeps all of it.\n";

/// Where each picture lies, and where the run file says that it lies.
struct Placed {
  CardPicture picture;
  fs::path in_run;  ///< relative to the house
  CopyPlace copy;
};

struct Import {
  const ImportRequest& request;
  const ProgressFn& progress;
  ImportReport report = {};
  std::vector<BodyTemplate> templates = {};
  RunFile run = {};
  std::string text = {};  ///< of the run file that is there; empty: none
  std::vector<Placed> pictures = {};
  std::map<fs::path, std::size_t> by_file = {};  ///< into `pictures`
};

Result<fs::path> seen_from_house(const fs::path& file, const fs::path& house) {
  std::error_code code;
  fs::path relative = fs::relative(file, fs::absolute(house), code);
  if (!code && !relative.empty()) return relative;
  return fail({.kind = ErrorKind::user_input,
               .where = file.string(),
               .field = {},
               .what = fmt::format("has no relative path from {}", house.string()),
               .remedy = "keep the card's pictures and the templates on the drive of the run"});
}

RunFile usual_run() {
  RunFile run;
  run.out = kOut;
  run.look.look.match = "run";
  run.look.level = true;
  run.look.cover_deg = 18;
  run.jpegs = {RunJpeg{}};
  run.tiles = RunCube{};
  return run;
}

Result<void> read_house(Import& work) {
  const fs::path& file = work.report.run_file;
  std::error_code code;
  if (!fs::exists(fs::symlink_status(file, code))) {
    work.run = usual_run();
    for (const fs::path& body : work.request.templates) {
      auto relative = seen_from_house(body, work.request.house);
      if (!relative) return tl::unexpected(relative.error());
      work.run.templates.push_back(std::move(*relative));
    }
    return {};
  }
  auto text = read_file(file, kYamlLimitBytes);
  if (!text) return tl::unexpected(text.error());
  auto run = parse_run_file(*text, file.string());
  if (!run) return tl::unexpected(run.error());
  work.text = std::move(*text);
  work.run = std::move(*run);
  return {};
}

// Those that are given, else those of the run file.
Result<void> read_templates(Import& work) {
  std::vector<fs::path> files = work.request.templates;
  if (files.empty()) {
    for (const fs::path& file : work.run.templates) files.push_back(work.request.house / file);
  }
  for (const fs::path& file : files) {
    auto body = read_body_template(file);
    if (!body) return tl::unexpected(body.error());
    work.templates.push_back(std::move(*body));
  }
  work.report.has_templates = !work.templates.empty();
  return {};
}

Result<void> walk(Import& work) {
  const ImportRequest& request = work.request;
  auto card = walk_card(request.card, {request.house / kFrames, request.house / work.run.out},
                        work.progress);
  if (!card) return tl::unexpected(card.error());
  work.report.copies = card->copies;
  work.report.others = card->others;
  work.report.odd = std::move(card->unreadable);
  for (CardPicture& picture : card->pictures) {
    Placed placed{.picture = std::move(picture), .in_run = {}, .copy = {}};
    if (request.in_place) {
      auto relative = seen_from_house(placed.picture.file, request.house);
      if (!relative) return tl::unexpected(relative.error());
      placed.in_run = std::move(*relative);
      placed.copy = {placed.picture.file, true};
    } else {
      auto place =
          copy_place(request.house / kFrames / placed.picture.place, placed.picture.sha256);
      if (!place) return tl::unexpected(place.error());
      placed.in_run = place->file.lexically_relative(request.house);
      placed.copy = std::move(*place);
    }
    work.by_file.emplace(placed.picture.file, work.pictures.size());
    work.pictures.push_back(std::move(placed));
  }
  return {};
}

// Run files are text, and a '\\' parts folders on some systems.
bool can_stand_in_run_file(const fs::path& path) {
  const std::string text = path.string();
  return find_broken_utf8(text) == std::string::npos && printable_text(text) == text &&
         text.find('\\') == std::string::npos;
}

// Panoramas are no frames, and what cannot be read to its end is none.
Result<std::vector<fs::path>> sound_frames(Import& work, const KnownShots& known) {
  std::vector<fs::path> frames;
  for (std::size_t i = 0; i < work.pictures.size(); ++i) {
    const fs::path& file = work.pictures[i].picture.file;
    if (!tell(work.progress, "looking at the pictures",
              static_cast<double>(i) / static_cast<double>(work.pictures.size()))) {
      return fail(stopped_while("looking at the pictures"));
    }
    if (says_panorama(file)) continue;
    if (!can_stand_in_run_file(work.pictures[i].in_run)) {
      work.report.odd.push_back({file.string(), "its name cannot stand in a run file: rename it"});
      continue;
    }
    if (!known.holder_of(work.pictures[i].in_run)) {
      if (const auto whole = read_image(file); !whole) {
        work.report.odd.push_back({file.string(), whole.error().what});
        continue;
      }
    }
    frames.push_back(file);
  }
  return frames;
}

Result<void> copy_pictures(Import& work) {
  int at = 0;
  for (const Placed& placed : work.pictures) {
    const double share = at++ / static_cast<double>(work.pictures.size());
    if (!tell(work.progress, "copying", share)) return fail(stopped_while("copying"));
    if (placed.copy.is_there) {
      ++work.report.were_there;
      continue;
    }
    sweep_leftovers_beside(placed.copy.file);
    auto done = copy_verified(placed.picture.file, placed.copy.file, placed.picture.sha256);
    if (!done) return done;
    ++work.report.copied;
  }
  return {};
}

std::string steps_of(const BracketShot& group) {
  const auto& steps = group.lenses.front().steps;
  if (steps.size() == 1 && steps.front().members.size() == 1) return {};
  std::vector<std::string> texts;
  for (const BracketStep& step : steps) {
    std::string text = fmt::format("{:+.1f}", step.ev);
    if (step.members.size() > 1) text += fmt::format("x{}", step.members.size());
    texts.push_back(std::move(text));
  }
  return fmt::format("{}", fmt::join(texts, " "));
}

// The files of each lens as the run file names them.
std::vector<std::vector<fs::path>> run_files(const Import& work, const CardShot& shot,
                                             const std::vector<ListedFrame>& frames) {
  std::vector<std::vector<fs::path>> files;
  for (const BracketSeries& series : shot.group.lenses) {
    std::vector<fs::path>& lens = files.emplace_back();
    for (const BracketStep& step : series.steps) {
      for (const BracketMember& member : step.members) {
        lens.push_back(work.pictures[work.by_file.at(frames[member.frame].file)].in_run);
      }
    }
  }
  return files;
}

// The line that has a shot already, and what of the shot it lacks.
struct Held {
  std::optional<std::size_t> line;
  int missing = 0;
};

Held held_by(const KnownShots& known, const std::vector<std::vector<fs::path>>& files) {
  Held held;
  for (const auto& lens : files) {
    for (const fs::path& file : lens) {
      const auto line = known.holder_of(file);
      if (line && !held.line) held.line = line;
      if (!line) ++held.missing;
    }
  }
  return held;
}

RunShot line_of(const Import& work, const CardShot& shot,
                const std::vector<std::vector<fs::path>>& files, KnownShots& known) {
  RunShot line;
  line.name = known.take_name(shot_name(shot.time, shot.name));
  line.time = shot.time;
  line.body = shot.body;
  // Said where the run's own templates would not do: it may have been begun with others.
  if (shot.fit.index) {
    const auto body = seen_from_house(work.templates[*shot.fit.index].file, work.request.house);
    if (body && work.run.templates != std::vector<fs::path>{*body}) line.rig_template = *body;
  }
  if (shot.layout && *shot.layout != FrameLayout::one_per_file) {
    line.layout = name_in(kLayoutNames, *shot.layout);
  }
  line.odd = fmt::format("{}", fmt::join(shot.odd, "; "));
  set_files(line, files);
  return line;
}

// Known shots are told as the run file has them, new ones are added to it.
void take_shots(Import& work, const CardShots& found, const std::vector<ListedFrame>& frames,
                KnownShots& known, std::vector<RunShot>& added) {
  for (const CardShot& shot : found.shots) {
    const auto files = run_files(work, shot, frames);
    const Held held = held_by(known, files);
    const RunShot line = held.line ? work.run.shots[*held.line] : line_of(work, shot, files, known);
    ImportedShot told{.name = line.name.empty() ? line.place.string() : line.name,
                      .time = shot.time,
                      .body = shot.body,
                      .steps = steps_of(shot.group),
                      .odd = shot.odd,
                      .is_new = !held.line,
                      .skipped = line.skip,
                      .files = files_of(shot, frames, work.templates)};
    if (held.line && held.missing > 0) {
      told.odd.push_back(
          fmt::format("{} of its frames are not in its line of the run file", held.missing));
    }
    if (!held.line) added.push_back(line);
    work.report.shots.push_back(std::move(told));
  }
}

Result<void> write_run_file(Import& work, std::vector<RunShot> added) {
  if (added.empty()) return {};
  std::string text;
  if (work.text.empty()) {
    work.run.shots = std::move(added);
    text = std::string(kHead) + format_run_file(work.run);
    const auto again = parse_run_file(text, work.report.run_file.string());
    if (!again) return tl::unexpected(again.error());
  } else {
    auto more = with_shots_added(work.text, work.report.run_file.string(), added);
    if (!more) return tl::unexpected(more.error());
    text = std::move(*more);
  }
  work.report.run_file_changed = true;
  return write_file(work.report.run_file, text, Replacing::previous_kept);
}

}  // namespace

bool ImportReport::clean() const {
  return odd.empty() && std::all_of(shots.begin(), shots.end(), [](const ImportedShot& shot) {
           return shot.odd.empty() || shot.skipped;
         });
}

fs::path run_file_of(const fs::path& house) { return house / "house.run.yaml"; }

Result<ImportReport> import_card(const ImportRequest& request, const ProgressFn& progress) {
  Import work{.request = request, .progress = progress};
  work.report.run_file = run_file_of(request.house);
  if (auto done = read_house(work); !done) return tl::unexpected(done.error());
  if (auto done = read_templates(work); !done) return tl::unexpected(done.error());
  if (auto done = walk(work); !done) return tl::unexpected(done.error());
  KnownShots known(work.run);
  const auto sound = sound_frames(work, known);
  if (!sound) return tl::unexpected(sound.error());
  const auto listing = list_readable_frames(*sound, progress);
  if (!listing) return tl::unexpected(listing.error());
  const auto found = find_card_shots(listing->frames, work.templates, request.rest_s, progress);
  if (!found) return tl::unexpected(found.error());
  for (const UnlistedFrame& frame : listing->unlisted) {
    work.report.odd.push_back({frame.file.string(), frame.error.what});
  }
  work.report.odd.insert(work.report.odd.end(), found->notes.begin(), found->notes.end());
  if (auto done = make_folder(request.house); !done) return tl::unexpected(done.error());
  if (auto done = copy_pictures(work); !done) return tl::unexpected(done.error());
  std::vector<RunShot> added;
  take_shots(work, *found, listing->frames, known, added);
  if (auto done = write_run_file(work, std::move(added)); !done) {
    return tl::unexpected(done.error());
  }
  return std::move(work.report);
}

}  // namespace seamwright
