#include "apps/cli/level_options.h"

#include <array>
#include <charconv>
#include <cmath>
#include <functional>
#include <sstream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/number_text.h"
#include "projection/equirect.h"

namespace seamwright {

namespace {

Error refused(const std::string& text, std::string what, std::string remedy) {
  return {.where = {},
          .field = fmt::format("--vertical \"{}\"", text),
          .what = std::move(what),
          .remedy = std::move(remedy)};
}

std::optional<Vec2> pixel_of(std::string_view word) {
  const auto comma = word.find(',');
  if (comma == std::string_view::npos) return std::nullopt;
  const auto u = number_of(word.substr(0, comma));
  const auto v = number_of(word.substr(comma + 1));
  if (!u || !v) return std::nullopt;
  return Vec2(*u, *v);
}

// The direction of one word of an edge; an error names only what is wrong with it.
using DirectionOf = std::function<Result<Vec3>(const std::string& word, const std::string& text)>;

Result<std::vector<EdgePlane>> edges_of(const LevelOptions& options, const std::string& form,
                                        const DirectionOf& direction_of) {
  std::vector<EdgePlane> edges;
  for (const std::string& text : options.verticals) {
    std::istringstream words(text);
    std::vector<Vec3> ends;
    for (std::string word; words >> word;) {
      auto direction = direction_of(word, text);
      if (!direction) return tl::unexpected(direction.error());
      ends.push_back(*direction);
    }
    if (ends.size() != 2) {
      return fail(refused(text, fmt::format("holds {} points, an edge needs two", ends.size()),
                          "write " + form));
    }
    auto edge = edge_through(ends[0], ends[1]);
    if (!edge) {
      edge.error().field = fmt::format("--vertical \"{}\"", text);
      return tl::unexpected(edge.error());
    }
    edges.push_back(*edge);
  }
  return edges;
}

constexpr std::string_view kShotForm = "--vertical \"0:812,340 0:790,1250\"";
constexpr std::string_view kPanoramaForm = "--vertical \"2012,900 2031,1704\"";

Result<std::vector<EdgePlane>> shot_edges(const LevelOptions& options, const Rig& rig) {
  return edges_of(
      options, std::string(kShotForm),
      [&](const std::string& word, const std::string& text) -> Result<Vec3> {
        const auto colon = word.find(':');
        const auto lens =
            colon == std::string::npos ? std::nullopt : number_of(word.substr(0, colon));
        const auto px =
            colon == std::string::npos ? std::nullopt : pixel_of(word.substr(colon + 1));
        if (!lens || !px) {
          return fail(refused(text, fmt::format("'{}' is not LENS:U,V", word),
                              fmt::format("write {}", kShotForm)));
        }
        if (*lens != std::floor(*lens) || *lens < 0 || *lens >= rig.lens_count()) {
          return fail(refused(text, fmt::format("there is no lens {}", *lens),
                              fmt::format("the body has lenses 0 to {}", rig.lens_count() - 1)));
        }
        const auto direction = rig.lenses[static_cast<std::size_t>(*lens)].direction_in_rig(*px);
        if (direction) return *direction;
        return fail(refused(text, fmt::format("'{}' lies outside what the lens sees", word),
                            "pick points within the image circle"));
      });
}

Result<std::vector<EdgePlane>> panorama_edges(const LevelOptions& options, const Image& panorama) {
  const Equirect raster{panorama.width(), panorama.height()};
  return edges_of(
      options, std::string(kPanoramaForm),
      [&](const std::string& word, const std::string& text) -> Result<Vec3> {
        const auto px = pixel_of(word);
        if (!px) {
          return fail(refused(text, fmt::format("'{}' is not U,V", word),
                              fmt::format("write {}", kPanoramaForm)));
        }
        const bool inside =
            px->x() >= 0 && px->y() >= 0 && px->x() <= raster.width && px->y() <= raster.height;
        if (inside) return raster.direction(*px);
        return fail(refused(text, fmt::format("'{}' lies outside the panorama", word),
                            fmt::format("it is {} x {} px", raster.width, raster.height)));
      });
}

constexpr std::array<std::string_view, 4> kLevelledByNames = {"nothing", "found", "given",
                                                              "marked"};
static_assert(static_cast<int>(LevelledBy::marked) == 3);

// Turns by a vertical, or only about the body's own.
Result<Levelled> levelled_by(const LevelOptions& options, Result<std::vector<EdgePlane>> given,
                             std::span<const UprightEdge> marked,
                             const std::function<Result<Vertical>()>& find) {
  if (!given) return tl::unexpected(given.error());
  Levelled levelled;
  if (!given->empty()) {
    levelled.by = LevelledBy::given;
  } else if (!marked.empty() && !options.no_level) {
    levelled.by = LevelledBy::marked;
  } else if (options.level) {
    levelled.by = LevelledBy::found;
  }
  if (levelled.by != LevelledBy::nothing) {
    const auto vertical = levelled.by == LevelledBy::given    ? vertical_from_given(*given)
                          : levelled.by == LevelledBy::marked ? vertical_from_marked(marked)
                                                              : find();
    if (!vertical) return tl::unexpected(vertical.error());
    levelled.vertical = *vertical;
  }
  const Vec3 down = levelled.vertical ? levelled.vertical->down : Vec3(Vec3::UnitY());
  levelled.turned_from_source = level_from_rig(down, options.middle_deg);
  return levelled;
}

}  // namespace

void LevelOptions::add_to(CLI::App& command, bool of_panorama) {
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

std::optional<Error> LevelOptions::validate() const {
  if (level && !verticals.empty()) {
    return Error{.where = {},
                 .field = "--level",
                 .what = "given together with --vertical",
                 .remedy = "leave one of them out"};
  }
  if (no_level && (level || !verticals.empty())) {
    return Error{.where = {},
                 .field = "--no-level",
                 .what = level ? "given together with --level" : "given together with --vertical",
                 .remedy = "leave one of them out"};
  }
  if (!(std::abs(middle_deg) <= 360)) {
    return Error{.where = {},
                 .field = "--middle-deg",
                 .what = fmt::format("{} is outside -360…360", middle_deg),
                 .remedy = {}};
  }
  if (compass_deg && !(std::abs(*compass_deg) <= 360)) {
    return Error{.where = {},
                 .field = "--compass-deg",
                 .what = fmt::format("{} is outside -360…360", *compass_deg),
                 .remedy = {}};
  }
  return std::nullopt;
}

Result<Levelled> level_shot(const LevelOptions& options, const Rig& rig,
                            std::span<const Frame> frames, std::span<const UprightEdge> marked) {
  if (frames.empty()) return Levelled{};
  const Rig sized = rig.scaled_to(frames[0].image.width(), frames[0].image.height());
  return levelled_by(options, shot_edges(options, sized), marked,
                     [&] { return find_vertical(rig, frames); });
}

Result<Levelled> level_panorama(const LevelOptions& options, const Image& panorama) {
  return levelled_by(options, panorama_edges(options, panorama), {},
                     [&] { return find_vertical(panorama); });
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
                            vertical.edges, kLevelledByNames[static_cast<std::size_t>(levelled.by)],
                            vertical.edges == 1 ? "" : "s", vertical.tilt_deg()));
  }
}

nlohmann::json level_json(const LevelOptions& options, const Levelled& levelled) {
  const Vec3 turn = rotation_vector_from_quat(levelled.turned_from_source) * deg_from_rad(1);
  nlohmann::json object = {{"rotation_vector_deg", {turn.x(), turn.y(), turn.z()}},
                           {"middle_deg", options.middle_deg},
                           {"by", kLevelledByNames[static_cast<std::size_t>(levelled.by)]}};
  if (options.compass_deg) object["compass_deg"] = *options.compass_deg;
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
