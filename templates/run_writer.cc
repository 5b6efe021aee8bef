#include <algorithm>

#include <fmt/format.h>

#include "templates/relative_path.h"
#include "templates/run_file.h"
#include "templates/run_keys.h"
#include "templates/yaml_text.h"
#include "templates/yaml_tree.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

std::string path_text(const fs::path& path) { return quoted_text(relative_path_text(path)); }

std::string flow_list(const std::vector<std::string>& items) {
  return fmt::format("[{}]", fmt::join(items, ", "));
}

std::string paths_text(const std::vector<fs::path>& paths) {
  std::vector<std::string> items;
  for (const fs::path& path : paths) items.push_back(path_text(path));
  return flow_list(items);
}

/// "key: value", in the order in which they are put.
using Entries = std::vector<std::string>;

template <class T>
void put_entry(Entries& entries, std::string_view key, const T& value) {
  entries.push_back(fmt::format("{}: {}", key, value));
}

std::string display_look_text(const RunDisplayLook& look) {
  Entries entries;
  if (look.match) put_entry(entries, "match", *look.match);
  if (look.room_ev) put_entry(entries, "room_ev", number_text(*look.room_ev));
  if (look.cast_ev) put_entry(entries, "cast_ev", number_text(*look.cast_ev));
  if (look.warmer_ev) put_entry(entries, "warmer_ev", number_text(*look.warmer_ev));
  return fmt::format("{{{}}}", fmt::join(entries, ", "));
}

void put_look(Entries& entries, const RunLook& look) {
  const auto number = [&](std::string_view key, const std::optional<double>& value) {
    if (value) put_entry(entries, key, number_text(*value));
  };
  if (look.look != RunDisplayLook{}) put_entry(entries, "look", display_look_text(look.look));
  if (look.width_px) put_entry(entries, "width_px", *look.width_px);
  if (look.seam) put_entry(entries, "seam", *look.seam);
  number("brighter_ev", look.brighter_ev);
  number("local", look.local);
  number("glow_removal", look.glow_removal);
  if (look.level) put_entry(entries, "level", *look.level);
  number("middle_deg", look.middle_deg);
  number("compass_deg", look.compass_deg);
  number("cover_deg", look.cover_deg);
  if (look.plate) put_entry(entries, "plate", path_text(*look.plate));
  number("plate_deg", look.plate_deg);
  if (look.anyway) put_entry(entries, "anyway", *look.anyway);
  if (look.touch) put_entry(entries, "touch", *look.touch);
}

std::string files_text(const RunShot& shot) {
  const bool single = std::all_of(shot.files.begin(), shot.files.end(),
                                  [](const auto& lens) { return lens.size() == 1; });
  std::vector<std::string> lenses;
  for (const auto& lens : shot.files) {
    lenses.push_back(single ? path_text(lens.front()) : paths_text(lens));
  }
  return flow_list(lenses);
}

std::string shot_text(const RunShot& shot) {
  if (!shot.place.empty()) return path_text(shot.place);
  Entries entries;
  const auto words = [&](std::string_view key, const std::string& value) {
    if (!value.empty()) put_entry(entries, key, quoted_text(value));
  };
  words("name", shot.name);
  words("time", shot.time);
  words("body", shot.body);
  if (!shot.rig_template.empty()) put_entry(entries, "template", path_text(shot.rig_template));
  words("odd", shot.odd);
  if (shot.skip) put_entry(entries, "skip", true);
  put_look(entries, shot.look);
  if (!shot.layout.empty()) put_entry(entries, "layout", shot.layout);
  if (!shot.quarter_turns.empty()) {
    put_entry(entries, "quarter_turns", fmt::format("[{}]", fmt::join(shot.quarter_turns, ", ")));
  }
  if (!shot.folder.empty()) put_entry(entries, "folder", path_text(shot.folder));
  if (!shot.files.empty()) put_entry(entries, "files", files_text(shot));
  return fmt::format("{{{}}}", fmt::join(entries, ", "));
}

std::string jpeg_text(const RunJpeg& jpeg) {
  Entries entries;
  if (jpeg.width_px != 0) put_entry(entries, "width_px", jpeg.width_px);
  if (jpeg.quality != RunJpeg{}.quality) put_entry(entries, "quality", jpeg.quality);
  return fmt::format("{{{}}}", fmt::join(entries, ", "));
}

std::string cube_text(const RunCube& cube) {
  Entries entries;
  if (cube.face_px != 0) put_entry(entries, "face_px", cube.face_px);
  if (cube.tile_px != RunCube{}.tile_px) put_entry(entries, "tile_px", cube.tile_px);
  if (cube.quality != RunCube{}.quality) put_entry(entries, "quality", cube.quality);
  return fmt::format("{{{}}}", fmt::join(entries, ", "));
}

void put_deliverables(Entries& entries, const RunFile& run) {
  std::vector<std::string> jpegs;
  for (const RunJpeg& jpeg : run.jpegs) jpegs.push_back(jpeg_text(jpeg));
  if (run.compression != RunFile{}.compression) put_entry(entries, "compression", run.compression);
  if (!jpegs.empty()) put_entry(entries, "jpeg", flow_list(jpegs));
  if (!run.light.empty()) put_entry(entries, "light", run.light);
  if (run.exr) put_entry(entries, "exr", true);
  if (run.faces) put_entry(entries, "faces", cube_text(*run.faces));
  if (run.tiles) put_entry(entries, "tiles", cube_text(*run.tiles));
  if (run.strip_location) put_entry(entries, "strip_location", true);
}

void put_grouping(Entries& entries, const RunFile& run) {
  if (!run.pattern.empty()) put_entry(entries, "pattern", quoted_text(run.pattern));
  if (run.rest_s != RunFile{}.rest_s) put_entry(entries, "rest_s", number_text(run.rest_s));
  if (run.frames_per_shot > 0) put_entry(entries, "frames_per_shot", run.frames_per_shot);
}

void put_budget(Entries& entries, const RunFile& run) {
  if (run.at_once > 0) put_entry(entries, "at_once", run.at_once);
  if (run.memory_gib > 0) put_entry(entries, "memory_gib", number_text(run.memory_gib));
}

int last_line(const YamlValue& value) {
  int line = value.line;
  for (const YamlValue& child : value.children) line = std::max(line, last_line(child));
  return line;
}

Error no_place(const std::string& name, int line, std::string what) {
  return {.kind = ErrorKind::user_input,
          .where = fmt::format("{}:{}", name, line),
          .field = "shots",
          .what = std::move(what),
          .remedy = "write the list with one shot a line, each after a '-'"};
}

// Where the line of this number ends, behind its line break; text without one gets it.
std::size_t end_of_line(std::string& text, int number) {
  std::size_t at = 0;
  for (int line = 0; line < number; ++line) {
    at = text.find('\n', at);
    if (at == std::string::npos) {
      text += '\n';
      return text.size();
    }
    ++at;
  }
  return at;
}

std::string line_of_text(const std::string& text, int number) {
  std::size_t at = 0;
  for (int line = 1; line < number; ++line) at = text.find('\n', at) + 1;
  return text.substr(at, text.find('\n', at) - at);
}

}  // namespace

std::string format_run_file(const RunFile& run) {
  Entries entries;
  put_entry(entries, "format", kRunFormat);
  put_entry(entries, "version", 3);
  if (!run.templates.empty()) put_entry(entries, "templates", paths_text(run.templates));
  put_entry(entries, "out", path_text(run.out));
  if (run.names != RunFile{}.names) put_entry(entries, "names", quoted_text(run.names));
  put_look(entries, run.look);
  put_deliverables(entries, run);
  put_grouping(entries, run);
  put_budget(entries, run);
  std::string text = fmt::format("{}\nshots:\n", fmt::join(entries, "\n"));
  for (const RunShot& shot : run.shots) text += fmt::format("  - {}\n", shot_text(shot));
  return text;
}

Result<std::string> with_shots_added(const std::string& yaml, const std::string& name,
                                     const std::vector<RunShot>& more) {
  auto wanted = parse_run_file(yaml, name);
  if (!wanted) return tl::unexpected(wanted.error());
  const auto tree = parse_yaml(yaml, name);
  if (!tree) return tl::unexpected(tree.error());
  const YamlValue& shots = *tree->find("shots");
  const int first = shots.children.front().line;
  const std::string line = line_of_text(yaml, first);
  const std::size_t indent = line.find_first_not_of(' ');
  if (first == shots.line || indent == std::string::npos || line[indent] != '-') {
    return fail(no_place(name, first, "the list of shots is not one shot a line"));
  }
  std::string text = yaml;
  std::string added;
  for (const RunShot& shot : more) {
    added += fmt::format("{}- {}\n", line.substr(0, indent), shot_text(shot));
  }
  text.insert(end_of_line(text, last_line(shots)), added);
  wanted->shots.insert(wanted->shots.end(), more.begin(), more.end());
  // What a person wrote may look like one shot a line and be something else.
  const auto again = parse_run_file(text, name);
  if (!again || *again != *wanted) {
    return fail(no_place(name, last_line(shots), "no shot can be added behind this line"));
  }
  return text;
}

}  // namespace seamwright
