#include <array>

#include "base/file.h"
#include "templates/relative_path.h"
#include "templates/run_file.h"
#include "templates/strict_map.h"
#include "templates/versioned.h"

namespace seamwright {

namespace {

constexpr std::string_view kRunFormat = "seamwright-run";
constexpr int kWidest_px = 262144;

std::vector<std::filesystem::path> read_paths(const StrictValue& value) {
  std::vector<std::filesystem::path> paths;
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

void read_grouping(const StrictMap& map, std::string_view rest_key, RunFile& run) {
  if (map.has("pattern")) run.pattern = map.at("pattern").text();
  if (map.has(rest_key)) run.rest_s = map.at(rest_key).number();
  if (map.has("frames_per_shot")) run.frames_per_shot = map.at("frames_per_shot").whole(1, 100000);
}

std::string read_word(const StrictMap& map, std::string_view key,
                      const std::vector<std::string_view>& words) {
  return map.has(key) ? std::string(words[map.at(key).choice(words)]) : std::string(words[0]);
}

RunFile read_run(const StrictValue& document, std::string_view rest_key) {
  const StrictMap map(document, {"format", "version", "shots", "templates", "out", "width_px",
                                 "seam", "compression", "jpeg", "level", "strip_location",
                                 "pattern", std::string(rest_key), "frames_per_shot"});
  RunFile run;
  run.shots = read_paths(map.at("shots"));
  if (run.shots.empty()) map.at("shots").refuse("is empty", "name a folder at least");
  if (map.has("templates")) run.templates = read_paths(map.at("templates"));
  run.out = read_relative_path(map.at("out"));
  if (map.has("width_px")) run.width_px = read_even_width(map.at("width_px"));
  run.seam = read_word(map, "seam", {"depth", "plain"});
  run.compression = read_word(map, "compression", {"none", "lzw", "deflate"});
  if (map.has("jpeg")) run.jpeg = read_jpeg(map.at("jpeg"));
  if (map.has("level")) run.level = map.at("level").flag();
  if (map.has("strip_location")) run.strip_location = map.at("strip_location").flag();
  read_grouping(map, rest_key, run);
  return run;
}

/// Version 1 called the rest between two shots gap_s.
RunFile read_run_1(const StrictValue& document) { return read_run(document, "gap_s"); }
RunFile read_run_2(const StrictValue& document) { return read_run(document, "rest_s"); }

constexpr std::array kRunReaders = {VersionReader<RunFile>{1, &read_run_1},
                                    VersionReader<RunFile>{2, &read_run_2}};

}  // namespace

Result<RunFile> parse_run_file(std::string_view yaml, const std::string& name) {
  return parse_versioned<RunFile>(yaml, name, kRunFormat, kRunReaders);
}

Result<RunFile> read_run_file(const std::filesystem::path& path) {
  const Result<std::string> text = read_file(path, kYamlLimitBytes);
  if (!text) return tl::unexpected(text.error());
  return parse_run_file(*text, path.string());
}

}  // namespace seamwright
