#include "templates/tour_file.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <set>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/file.h"
#include "base/user_error.h"
#include "templates/relative_path.h"
#include "templates/versioned.h"
#include "templates/yaml_text.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr std::string_view kFormat = "seamwright-tour";
constexpr std::string_view kSuffix = ".tour.json";
constexpr std::array<std::string_view, 2> kOrigins = {"near", "by hand"};  // as LinkOrigin
constexpr double kLeastHeight_m = 0.2;
constexpr double kMostHeight_m = 5;
constexpr int kMostNetworks = 100000;

// The room's pictures lie in a folder of its name, and nowhere else.
bool names_a_folder(std::string_view name) {
  return !name.empty() && name.front() != '.' && name.find_first_of("/\\") == std::string::npos &&
         std::none_of(name.begin(), name.end(),
                      [](char c) { return static_cast<unsigned char>(c) < 0x20; });
}

std::optional<Error> check_rooms(const Tour& tour) {
  std::set<std::string> names;
  for (std::size_t i = 0; i < tour.rooms.size(); ++i) {
    const TourRoom& room = tour.rooms[i];
    const std::string field = fmt::format("rooms[{}]", i);
    if (!names_a_folder(room.name)) {
      return option_error(field + ".name", fmt::format("{} cannot name a folder", shown(room.name)),
                          "give it a name without / and \\ that does not begin with a dot");
    }
    if (!names.insert(room.name).second) {
      return option_error(field + ".name", fmt::format("{} stands twice", shown(room.name)),
                          "give each room a name of its own");
    }
    if (!room.place) continue;
    for (const double value : {room.place->right_m, room.place->ahead_m, room.place->heading_deg}) {
      if (std::isfinite(value)) continue;
      return option_error(field, "its place is no number", "remove it, or make the map again");
    }
  }
  return std::nullopt;
}

std::optional<Error> check_links(const Tour& tour) {
  std::set<std::pair<std::string, std::string>> seen;
  const auto known = [&](const std::string& name) {
    return std::any_of(tour.rooms.begin(), tour.rooms.end(),
                       [&](const TourRoom& room) { return room.name == name; });
  };
  for (std::size_t i = 0; i < tour.links.size(); ++i) {
    const TourLink& link = tour.links[i];
    const std::string field = fmt::format("links[{}]", i);
    for (const std::string& name : {link.from, link.to}) {
      if (known(name)) continue;
      return option_error(field, fmt::format("there is no room {}", shown(name)),
                          "name two rooms of the tour");
    }
    if (link.from == link.to) {
      return option_error(field, fmt::format("leads from {} to itself", shown(link.from)),
                          "name two rooms of the tour");
    }
    if (!seen.insert(std::minmax(link.from, link.to)).second) {
      return option_error(
          field, fmt::format("{} and {} are linked twice", shown(link.from), shown(link.to)),
          "keep one of the two");
    }
  }
  return std::nullopt;
}

std::optional<double> number_at(const StrictMap& map, std::string_view key) {
  if (!map.has(key)) return std::nullopt;
  return map.at(key).number();
}

TourRoom read_room(const StrictValue& value) {
  const StrictMap map(value, {"name", "title", "panorama", "network", "right_m", "ahead_m",
                              "heading_deg", "position_sigma_m", "heading_sigma_deg", "first_deg"});
  TourRoom room;
  room.name = map.at("name").text();
  room.title = map.at("title").text();
  room.panorama = read_relative_path(map.at("panorama"));
  room.first_deg = number_at(map, "first_deg");
  if (!map.has("network")) return room;
  room.place = TourPlace{.network = map.at("network").whole(0, kMostNetworks),
                         .right_m = map.at("right_m").number(),
                         .ahead_m = map.at("ahead_m").number(),
                         .heading_deg = map.at("heading_deg").number(),
                         .position_sigma_m = number_at(map, "position_sigma_m").value_or(0),
                         .heading_sigma_deg = number_at(map, "heading_sigma_deg").value_or(0)};
  return room;
}

TourLink read_link(const StrictValue& value) {
  const StrictMap map(value, {"from", "to", "found", "from_deg", "to_deg"});
  TourLink link{.from = map.at("from").text(),
                .to = map.at("to").text(),
                .origin = LinkOrigin::by_hand,
                .from_deg = number_at(map, "from_deg"),
                .to_deg = number_at(map, "to_deg")};
  if (map.has("found")) {
    link.origin =
        static_cast<LinkOrigin>(map.at("found").choice({kOrigins.begin(), kOrigins.end()}));
  }
  return link;
}

Tour read_tour_1(const StrictValue& document) {
  const StrictMap map(document,
                      {"format", "version", "title", "start", "height_m", "rooms", "links"});
  Tour tour;
  tour.title = map.at("title").text();
  tour.start = map.at("start").text();
  if (map.has("height_m")) tour.height_m = map.at("height_m").number();
  for (const StrictValue& room : map.at("rooms").list()) tour.rooms.push_back(read_room(room));
  for (const StrictValue& link : map.at("links").list()) tour.links.push_back(read_link(link));
  if (auto error = tour.validate()) {
    throw Refused{user_error(document.file(), error->field, error->what, error->remedy)};
  }
  return tour;
}

constexpr std::array kReaders = {VersionReader<Tour>{1, &read_tour_1}};

void put_number(std::string& line, std::string_view key, std::optional<double> value) {
  if (value) line += fmt::format(", \"{}\": {}", key, number_text(*value));
}

std::string room_line(const TourRoom& room) {
  std::string line =
      fmt::format("{{\"name\": {}, \"title\": {}, \"panorama\": {}", quoted_text(room.name),
                  quoted_text(room.title), quoted_text(relative_path_text(room.panorama)));
  if (const auto& place = room.place) {
    line += fmt::format(", \"network\": {}", place->network);
    put_number(line, "right_m", place->right_m);
    put_number(line, "ahead_m", place->ahead_m);
    put_number(line, "heading_deg", place->heading_deg);
    put_number(line, "position_sigma_m", place->position_sigma_m);
    put_number(line, "heading_sigma_deg", place->heading_sigma_deg);
  }
  put_number(line, "first_deg", room.first_deg);
  return line + "}";
}

std::string link_line(const TourLink& link) {
  std::string line =
      fmt::format("{{\"from\": {}, \"to\": {}, \"found\": \"{}\"", quoted_text(link.from),
                  quoted_text(link.to), kOrigins[static_cast<std::size_t>(link.origin)]);
  put_number(line, "from_deg", link.from_deg);
  put_number(line, "to_deg", link.to_deg);
  return line + "}";
}

std::string list_text(const std::vector<std::string>& lines) {
  if (lines.empty()) return "[]";
  return fmt::format("[\n    {}\n  ]", fmt::join(lines, ",\n    "));
}

}  // namespace

std::optional<Error> Tour::validate() const {
  if (rooms.empty()) return option_error("rooms", "there are none", "stitch the rooms first");
  if (!(height_m >= kLeastHeight_m && height_m <= kMostHeight_m)) {
    return option_error("height_m", fmt::format("{} is outside 0.2…5 m", height_m),
                        "give the height of the lenses above the floor");
  }
  if (auto error = check_rooms(*this)) return error;
  if (std::none_of(rooms.begin(), rooms.end(),
                   [&](const TourRoom& room) { return room.name == start; })) {
    return option_error("start", fmt::format("there is no room {}", shown(start)),
                        "name a room of the tour");
  }
  return check_links(*this);
}

Result<Tour> parse_tour(std::string_view json, const std::string& name) {
  return parse_versioned<Tour>(json, name, kFormat, kReaders);
}

Result<Tour> read_tour_file(const fs::path& path) {
  const Result<std::string> text = read_file(path, kYamlLimitBytes);
  if (!text) return tl::unexpected(text.error());
  return parse_tour(*text, path.string());
}

std::string format_tour(const Tour& tour) {
  std::vector<std::string> rooms;
  for (const TourRoom& room : tour.rooms) rooms.push_back(room_line(room));
  std::vector<std::string> links;
  for (const TourLink& link : tour.links) links.push_back(link_line(link));
  return fmt::format(
      "{{\n  \"format\": \"{}\",\n  \"version\": 1,\n  \"title\": {},\n  \"start\": {},\n"
      "  \"height_m\": {},\n  \"rooms\": {},\n  \"links\": {}\n}}\n",
      kFormat, quoted_text(tour.title), quoted_text(tour.start), number_text(tour.height_m),
      list_text(rooms), list_text(links));
}

bool is_tour_file(const fs::path& path) { return path.filename().string().ends_with(kSuffix); }

}  // namespace seamwright
