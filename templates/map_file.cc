#include "templates/map_file.h"

#include <array>
#include <set>

#include <fmt/format.h>

#include "base/file.h"
#include "templates/versioned.h"

namespace seamwright {

namespace {

constexpr std::string_view kFormat = "seamwright-map";
constexpr int kMostNetworks = 100000;

MapShot read_shot(const StrictValue& value) {
  const StrictMap map(value, {"shot", "network", "position_m", "position_sigma_m", "heading_deg",
                              "heading_sigma_deg"});
  MapShot shot;
  shot.shot = map.at("shot").text();
  if (!map.has("position_m")) return shot;
  shot.place = MapPlace{.network = map.at("network").whole(0, kMostNetworks),
                        .position_m = map.at("position_m").vector3(),
                        .position_sigma_m = map.at("position_sigma_m").vector3(),
                        .heading_deg = map.at("heading_deg").number(),
                        .heading_sigma_deg = map.at("heading_sigma_deg").number()};
  return shot;
}

MapFile read_map_1(const StrictValue& document) {
  const StrictMap map(document, {"format", "version", "axes", "body", "stands"});
  MapFile file;
  file.body = map.at("body").text();
  std::set<std::string> names;
  for (const StrictValue& value : map.at("stands").list()) {
    file.shots.push_back(read_shot(value));
    if (names.insert(file.shots.back().shot).second) continue;
    value.refuse(fmt::format("the shot {} stands twice", shown(file.shots.back().shot)),
                 "make the map again");
  }
  return file;
}

constexpr std::array kReaders = {VersionReader<MapFile>{1, &read_map_1}};

}  // namespace

Result<MapFile> parse_map(std::string_view json, const std::string& name) {
  return parse_versioned<MapFile>(json, name, kFormat, kReaders);
}

Result<MapFile> read_map_file(const std::filesystem::path& path) {
  const Result<std::string> text = read_file(path, kYamlLimitBytes);
  if (!text) return tl::unexpected(text.error());
  return parse_map(*text, path.string());
}

}  // namespace seamwright
