#include "apps/cli/level_options.h"

#include <charconv>
#include <cmath>
#include <sstream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/number_text.h"

namespace seamwright {

namespace {

std::string field_of(const std::string& text) { return fmt::format("--vertical \"{}\"", text); }

Error refused(const std::string& text, std::string what, std::string remedy) {
  return {
      .where = {}, .field = field_of(text), .what = std::move(what), .remedy = std::move(remedy)};
}

std::string form_of(PointsOf points) {
  return points == PointsOf::frames ? "--vertical \"0:812,340 0:790,1250\""
                                    : "--vertical \"2012,900 2031,1704\"";
}

std::optional<Vec2> pixel_of(std::string_view word) {
  const auto comma = word.find(',');
  if (comma == std::string_view::npos) return std::nullopt;
  const auto u = number_of(word.substr(0, comma));
  const auto v = number_of(word.substr(comma + 1));
  if (!u || !v) return std::nullopt;
  return Vec2(*u, *v);
}

std::optional<PicturePoint> point_of(const std::string& word, PointsOf points) {
  PicturePoint point;
  std::string_view rest = word;
  if (points == PointsOf::frames) {
    const auto colon = rest.find(':');
    if (colon == std::string_view::npos) return std::nullopt;
    const auto lens = number_of(rest.substr(0, colon));
    if (!lens || *lens != std::floor(*lens) || std::abs(*lens) > 1000) return std::nullopt;
    point.lens = static_cast<int>(*lens);
    rest = rest.substr(colon + 1);
  }
  const auto px = pixel_of(rest);
  if (!px) return std::nullopt;
  point.px = *px;
  return point;
}

Result<PictureEdge> edge_of(const std::string& text, PointsOf points) {
  std::istringstream words(text);
  std::vector<PicturePoint> ends;
  for (std::string word; words >> word;) {
    const auto point = point_of(word, points);
    if (!point) {
      return fail(refused(
          text,
          fmt::format("'{}' is not {}", word, points == PointsOf::frames ? "LENS:U,V" : "U,V"),
          "write " + form_of(points)));
    }
    ends.push_back(*point);
  }
  if (ends.size() == 2) return PictureEdge{{ends[0], ends[1]}};
  return fail(refused(text, fmt::format("holds {} points, an edge needs two", ends.size()),
                      "write " + form_of(points)));
}

std::optional<Error> check_together(const LevelOptions& options) {
  const bool edges = !options.verticals.empty();
  if (options.level && edges) {
    return Error{.where = {},
                 .field = "--level",
                 .what = "given together with --vertical",
                 .remedy = "leave one of them out"};
  }
  if (options.no_level && (options.level || edges)) {
    return Error{
        .where = {},
        .field = "--no-level",
        .what = fmt::format("given together with {}", options.level ? "--level" : "--vertical"),
        .remedy = "leave one of them out"};
  }
  return std::nullopt;
}

}  // namespace

void LevelOptions::add_to(CLI::App& command, PointsOf points) {
  const bool of_panorama = points == PointsOf::panorama;
  command.add_flag("--level", level, "Set upright by the upright edges that are found in it");
  if (!of_panorama) {
    command.add_flag("--no-level", no_level,
                     "Leave it as the body stood, also where the shot file marks upright edges");
  }
  command
      .add_option("--vertical", verticals,
                  of_panorama ? "Set upright by an edge that you know is upright: two points of "
                                "it, \"U,V U,V\"; repeat for more edges"
                              : "Set upright by an edge that you know is upright: two points of "
                                "it, \"LENS:U,V LENS:U,V\"; repeat for more edges")
      ->allow_extra_args(false);
  command.add_option("--middle-deg", middle_deg,
                     "Turn so that this longitude (right of the middle is positive) becomes the "
                     "middle");
  command.add_option("--compass-deg", compass_deg,
                     "Compass bearing of the finished picture's middle: 0 north, 90 east");
}

Result<LevelWish> LevelOptions::wish(PointsOf points) const {
  if (auto error = check_together(*this)) return fail(std::move(*error));
  LevelWish wish{.edges = {}, .middle_deg = middle_deg, .compass_deg = compass_deg};
  if (level) wish.upright = Upright::find;
  if (no_level) wish.upright = Upright::leave;
  for (const std::string& text : verticals) {
    auto edge = edge_of(text, points);
    if (!edge) return tl::unexpected(edge.error());
    wish.edges.push_back(*edge);
  }
  if (auto error = wish.validate()) return fail(std::move(*error));
  return wish;
}

Error LevelOptions::in_words(Error error) const {
  for (std::size_t i = 0; i < verticals.size(); ++i) {
    if (error.field == fmt::format("edges[{}]", i)) error.field = field_of(verticals[i]);
  }
  return error;
}

void tell_level(const Console& console, const Levelled& levelled) {
  if (!levelled.vertical) return;
  const Vertical& vertical = *levelled.vertical;
  if (levelled.by == LevelledBy::found) {
    console.say(
        fmt::format("level: {} of {} straight edges are upright; it stood {:.2f} degrees "
                    "off plumb (sigma {:.3f})",
                    vertical.edges, vertical.edges_seen, vertical.tilt_deg(), vertical.sigma_deg));
  } else {
    console.say(fmt::format("level: {} {} edge{}; it stood {:.2f} degrees off plumb",
                            vertical.edges, name_of(levelled.by), vertical.edges == 1 ? "" : "s",
                            vertical.tilt_deg()));
  }
}

nlohmann::json level_json(const LevelWish& wish, const Levelled& levelled) {
  const Vec3 turn = rotation_vector_from_quat(levelled.turned_from_source) * deg_from_rad(1);
  nlohmann::json object = {{"rotation_vector_deg", {turn.x(), turn.y(), turn.z()}},
                           {"middle_deg", wish.middle_deg},
                           {"by", name_of(levelled.by)}};
  if (wish.compass_deg) object["compass_deg"] = *wish.compass_deg;
  if (levelled.vertical) {
    const Vertical& vertical = *levelled.vertical;
    object["tilt_deg"] = vertical.tilt_deg();
    object["down"] = {vertical.down.x(), vertical.down.y(), vertical.down.z()};
    object["edges"] = vertical.edges;
    object["edges_seen"] = vertical.edges_seen;
    object["sigma_deg"] = vertical.sigma_deg;
    object["rms_lean_deg"] = vertical.rms_lean_deg;
  }
  return object;
}

}  // namespace seamwright
