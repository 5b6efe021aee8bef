#include <array>
#include <set>

#include <fmt/format.h>

#include "base/file.h"
#include "templates/relative_path.h"
#include "templates/run_file.h"
#include "templates/run_keys.h"
#include "templates/shot_keys.h"
#include "templates/strict_map.h"
#include "templates/versioned.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr int kWidest_px = 262144;

std::vector<fs::path> read_paths(const StrictValue& value) {
  std::vector<fs::path> paths;
  for (const StrictValue& item : value.list()) paths.push_back(read_relative_path(item));
  return paths;
}

int read_even_width(const StrictValue& value) {
  const int width_px = value.whole(64, kWidest_px);
  if (width_px % 2 != 0) value.refuse("is odd", "give an even number of pixels");
  return width_px;
}

RunJpeg read_jpeg(const StrictValue& value) {
  const StrictMap map(value, {"quality", "width_px"});
  RunJpeg jpeg;
  if (map.has("quality")) jpeg.quality = map.at("quality").whole(1, 100);
  if (map.has("width_px")) jpeg.width_px = read_even_width(map.at("width_px"));
  return jpeg;
}

// One, as older versions have it, or a list of several sizes.
std::vector<RunJpeg> read_jpegs(const StrictValue& value) {
  if (value.yaml().kind != YamlValue::Kind::list) return {read_jpeg(value)};
  std::vector<RunJpeg> jpegs;
  std::set<int> widths;
  for (const StrictValue& one : value.list()) {
    jpegs.push_back(read_jpeg(one));
    if (widths.insert(jpegs.back().width_px).second) continue;
    one.refuse("has the width of another one", "give each JPEG a width of its own");
  }
  return jpegs;
}

RunCube read_cube(const StrictValue& value, bool tiles) {
  const StrictMap map(value, tiles ? std::vector<std::string>{"face_px", "tile_px", "quality"}
                                   : std::vector<std::string>{"face_px"});
  RunCube cube;
  if (map.has("face_px")) cube.face_px = map.at("face_px").whole(16, 32768);
  if (map.has("tile_px")) cube.tile_px = map.at("tile_px").whole(64, 4096);
  if (map.has("quality")) cube.quality = map.at("quality").whole(1, 100);
  return cube;
}

void read_grouping(const StrictMap& map, std::string_view rest_key, RunFile& run) {
  if (map.has("pattern")) run.pattern = map.at("pattern").text();
  if (map.has(rest_key)) run.rest_s = map.at(rest_key).number();
  if (map.has("frames_per_shot")) run.frames_per_shot = map.at("frames_per_shot").whole(1, 100000);
}

std::string read_word(const StrictValue& value, const std::vector<std::string_view>& words) {
  return std::string(words[value.choice(words)]);
}

// The keys that every version has.
RunLook read_first_look(const StrictMap& map) {
  RunLook look;
  if (map.has("width_px")) look.width_px = read_even_width(map.at("width_px"));
  if (map.has("seam")) look.seam = read_word(map.at("seam"), {"depth", "plain"});
  if (map.has("level")) look.level = map.at("level").flag();
  return look;
}

RunDisplayLook read_display_look(const StrictValue& value) {
  const StrictMap map(value, {kDisplayLookKeys.begin(), kDisplayLookKeys.end()});
  RunDisplayLook look;
  if (map.has("match")) look.match = read_word(map.at("match"), {"auto", "off", "shot", "run"});
  if (map.has("room_ev")) look.room_ev = map.at("room_ev").number();
  if (map.has("cast_ev")) look.cast_ev = map.at("cast_ev").number();
  if (map.has("warmer_ev")) look.warmer_ev = map.at("warmer_ev").number();
  return look;
}

RunLook read_look(const StrictMap& map) {
  RunLook look = read_first_look(map);
  if (map.has("look")) look.look = read_display_look(map.at("look"));
  const auto number = [&](std::string_view key, std::optional<double>& to) {
    if (map.has(key)) to = map.at(key).number();
  };
  number("brighter_ev", look.brighter_ev);
  number("local", look.local);
  number("glow_removal", look.glow_removal);
  number("middle_deg", look.middle_deg);
  number("compass_deg", look.compass_deg);
  number("cover_deg", look.cover_deg);
  number("plate_deg", look.plate_deg);
  if (map.has("plate")) look.plate = read_relative_path(map.at("plate"));
  if (map.has("anyway")) look.anyway = map.at("anyway").flag();
  if (map.has("touch")) look.touch = map.at("touch").flag();
  return look;
}

void read_rest(const StrictMap& map, std::string_view rest_key, RunFile& run) {
  if (map.at("shots").list().empty()) map.at("shots").refuse("is empty", "name a folder at least");
  if (map.has("templates")) run.templates = read_paths(map.at("templates"));
  run.out = read_relative_path(map.at("out"));
  if (map.has("compression")) {
    run.compression = read_word(map.at("compression"), {"none", "lzw", "deflate"});
  }
  if (map.has("strip_location")) run.strip_location = map.at("strip_location").flag();
  read_grouping(map, rest_key, run);
}

RunFile read_first_run(const StrictValue& document, std::string_view rest_key) {
  const StrictMap map(document, {"format", "version", "shots", "templates", "out", "width_px",
                                 "seam", "compression", "jpeg", "level", "strip_location",
                                 "pattern", std::string(rest_key), "frames_per_shot"});
  RunFile run;
  for (const fs::path& place : read_paths(map.at("shots"))) run.shots.push_back({.place = place});
  run.look = read_first_look(map);
  if (map.has("jpeg")) run.jpegs = {read_jpeg(map.at("jpeg"))};
  read_rest(map, rest_key, run);
  return run;
}

// ["a.tif", "b.tif"]: one exposure a lens; [["a1.tif", "a2.tif"], …]: several.
std::vector<std::vector<fs::path>> read_shot_files_of(const StrictValue& value) {
  std::vector<std::vector<fs::path>> files;
  for (const StrictValue& lens : value.list()) {
    files.push_back(lens.yaml().kind == YamlValue::Kind::list
                        ? read_paths(lens)
                        : std::vector<fs::path>{read_relative_path(lens)});
    if (files.back().empty()) lens.refuse("is empty", "name the exposures of this lens");
  }
  if (files.empty()) value.refuse("is empty", "name the frames, or leave 'files' out");
  return files;
}

std::vector<int> read_turns(const StrictValue& value) {
  std::vector<int> turns;
  for (const StrictValue& turn : value.list()) turns.push_back(turn.whole(-3, 3));
  return turns;
}

// Outputs are files: their name is one.
std::string read_name(const StrictValue& value) {
  std::string name = value.text();
  if (name.find_first_of("/\\:") != std::string::npos || name.starts_with('.')) {
    value.refuse(fmt::format("{} is no name for a file", shown(name)),
                 "leave out '/', '\\' and ':', and a '.' at its begin");
  }
  return name;
}

RunShot read_run_shot(const StrictValue& value) {
  if (value.yaml().kind == YamlValue::Kind::scalar) return {.place = read_relative_path(value)};
  std::vector<std::string> keys = {"name",  "time",   "body",          "template", "folder",
                                   "files", "layout", "quarter_turns", "odd",      "skip"};
  keys.insert(keys.end(), kLookKeys.begin(), kLookKeys.end());
  const StrictMap map(value, keys);
  RunShot shot;
  shot.name = read_name(map.at("name"));
  if (map.has("time")) shot.time = map.at("time").text();
  if (map.has("body")) shot.body = map.at("body").text();
  if (map.has("odd")) shot.odd = map.at("odd").text();
  if (map.has("template")) shot.rig_template = read_relative_path(map.at("template"));
  if (map.has("folder")) shot.folder = read_relative_path(map.at("folder"));
  if (map.has("files")) shot.files = read_shot_files_of(map.at("files"));
  if (shot.folder.empty() && shot.files.empty()) {
    value.refuse("names no picture", "give 'files', or the 'folder' that holds the shot alone");
  }
  if (map.has("layout")) {
    shot.layout = read_word(map.at("layout"), {kLayoutNames.begin(), kLayoutNames.end()});
  }
  if (map.has("quarter_turns")) shot.quarter_turns = read_turns(map.at("quarter_turns"));
  if (map.has("skip")) shot.skip = map.at("skip").flag();
  shot.look = read_look(map);
  return shot;
}

std::vector<RunShot> read_shots(const StrictValue& value) {
  std::vector<RunShot> shots;
  std::set<std::string> names;
  for (const StrictValue& item : value.list()) {
    shots.push_back(read_run_shot(item));
    const std::string& name = shots.back().name;
    if (name.empty() || names.insert(name).second) continue;
    item.refuse(fmt::format("the name {} stands here twice", shown(name)), "rename one of the two");
  }
  return shots;
}

double read_memory(const StrictValue& value) {
  const double gib = value.number();
  if (gib <= 0) value.refuse(fmt::format("{} GiB is no memory", gib), "give a number above 0");
  return gib;
}

/// Version 1 called the rest between two shots gap_s.
RunFile read_run_1(const StrictValue& document) { return read_first_run(document, "gap_s"); }
RunFile read_run_2(const StrictValue& document) { return read_first_run(document, "rest_s"); }

RunFile read_run_3(const StrictValue& document) {
  std::vector<std::string> keys = {"format",  "version",   "shots",          "templates",
                                   "out",     "names",     "compression",    "jpeg",
                                   "light",   "exr",       "faces",          "tiles",
                                   "pattern", "rest_s",    "strip_location", "frames_per_shot",
                                   "at_once", "memory_gib"};
  keys.insert(keys.end(), kLookKeys.begin(), kLookKeys.end());
  const StrictMap map(document, keys);
  RunFile run;
  run.shots = read_shots(map.at("shots"));
  run.look = read_look(map);
  if (map.has("names")) run.names = read_name(map.at("names"));
  if (map.has("jpeg")) run.jpegs = read_jpegs(map.at("jpeg"));
  if (map.has("light")) run.light = read_word(map.at("light"), {"tif", "exr"});
  if (map.has("exr")) run.exr = map.at("exr").flag();
  if (map.has("faces")) run.faces = read_cube(map.at("faces"), false);
  if (map.has("tiles")) run.tiles = read_cube(map.at("tiles"), true);
  if (map.has("at_once")) run.at_once = map.at("at_once").whole(1, 1024);
  if (map.has("memory_gib")) run.memory_gib = read_memory(map.at("memory_gib"));
  read_rest(map, "rest_s", run);
  return run;
}

constexpr std::array kRunReaders = {VersionReader<RunFile>{1, &read_run_1},
                                    VersionReader<RunFile>{2, &read_run_2},
                                    VersionReader<RunFile>{3, &read_run_3}};

}  // namespace

Result<RunFile> parse_run_file(std::string_view yaml, const std::string& name) {
  return parse_versioned<RunFile>(yaml, name, kRunFormat, kRunReaders);
}

Result<RunFile> read_run_file(const fs::path& path) {
  const Result<std::string> text = read_file(path, kYamlLimitBytes);
  if (!text) return tl::unexpected(text.error());
  return parse_run_file(*text, path.string());
}

}  // namespace seamwright
