#include "compose/finish/levelling.h"

#include <cmath>
#include <functional>
#include <string>

#include <fmt/format.h>

#include "projection/equirect.h"

namespace seamwright {

namespace {

constexpr std::array<std::string_view, 4> kLevelledByNames = {"nothing", "found", "given",
                                                              "marked"};
static_assert(static_cast<int>(LevelledBy::marked) == 3);

Error level_error(std::string what, std::string remedy) {
  return {.where = {}, .field = {}, .what = std::move(what), .remedy = std::move(remedy)};
}

std::optional<Error> check_angle(const char* field, double angle_deg) {
  if (std::abs(angle_deg) <= 360) return std::nullopt;
  return Error{.where = {},
               .field = field,
               .what = fmt::format("{} is outside -360…360", angle_deg),
               .remedy = "give degrees"};
}

using DirectionOf = std::function<Result<Vec3>(const PicturePoint& point)>;

Result<EdgePlane> plane_of(const PictureEdge& edge, const DirectionOf& direction_of) {
  const auto a = direction_of(edge.ends[0]);
  if (!a) return tl::unexpected(a.error());
  const auto b = direction_of(edge.ends[1]);
  if (!b) return tl::unexpected(b.error());
  return edge_through(*a, *b);
}

Result<std::vector<EdgePlane>> planes_of(const std::vector<PictureEdge>& edges,
                                         const DirectionOf& direction_of) {
  std::vector<EdgePlane> planes;
  for (std::size_t i = 0; i < edges.size(); ++i) {
    auto plane = plane_of(edges[i], direction_of);
    if (!plane) {
      plane.error().field = fmt::format("edges[{}]", i);
      return tl::unexpected(plane.error());
    }
    planes.push_back(*plane);
  }
  return planes;
}

Result<Vec3> direction_in_shot(const Rig& rig, const PicturePoint& point) {
  if (point.lens < 0 || point.lens >= rig.lens_count()) {
    return fail(level_error(fmt::format("there is no lens {}", point.lens),
                            fmt::format("the body has lenses 0 to {}", rig.lens_count() - 1)));
  }
  const auto direction =
      rig.lenses[static_cast<std::size_t>(point.lens)].direction_in_rig(point.px);
  if (direction) return *direction;
  return fail(level_error(fmt::format("{:g}, {:g} px lies outside what lens {} sees", point.px.x(),
                                      point.px.y(), point.lens),
                          "pick points within the image circle"));
}

Result<Vec3> direction_in_panorama(const Equirect& raster, const PicturePoint& point) {
  const Vec2& px = point.px;
  if (px.x() >= 0 && px.y() >= 0 && px.x() <= raster.width && px.y() <= raster.height) {
    return raster.direction(px);
  }
  return fail(level_error(fmt::format("{:g}, {:g} px lies outside the panorama", px.x(), px.y()),
                          fmt::format("it is {} x {} px", raster.width, raster.height)));
}

LevelledBy edges_to_use(const LevelWish& wish, bool marked) {
  if (!wish.edges.empty()) return LevelledBy::given;
  if (marked && wish.upright != Upright::leave) return LevelledBy::marked;
  return wish.upright == Upright::find ? LevelledBy::found : LevelledBy::nothing;
}

Result<Levelled> turned_by(const LevelWish& wish, LevelledBy by,
                           const std::optional<Vertical>& vertical) {
  const Vec3 down = vertical ? vertical->down : Vec3(Vec3::UnitY());
  return Levelled{
      .turned_from_source = level_from_rig(down, wish.middle_deg), .vertical = vertical, .by = by};
}

}  // namespace

std::string_view name_of(LevelledBy by) { return kLevelledByNames[static_cast<std::size_t>(by)]; }

std::optional<Error> LevelWish::validate() const {
  if (upright != Upright::as_marked && !edges.empty()) {
    return Error{.where = {},
                 .field = "edges",
                 .what = "are given, and the picture is to be levelled without them",
                 .remedy = "leave one of the two out"};
  }
  if (auto error = check_angle("middle_deg", middle_deg)) return error;
  return compass_deg ? check_angle("compass_deg", *compass_deg) : std::nullopt;
}

Result<Levelled> level_shot(const LevelWish& wish, const Rig& rig, std::span<const Frame> frames,
                            std::span<const UprightEdge> marked) {
  const LevelledBy by = edges_to_use(wish, !marked.empty());
  const auto vertical = [&]() -> Result<Vertical> {
    if (by == LevelledBy::marked) return vertical_from_marked(marked);
    if (by == LevelledBy::found) return find_vertical(rig, frames);
    const auto planes = planes_of(
        wish.edges, [&](const PicturePoint& point) { return direction_in_shot(rig, point); });
    if (!planes) return tl::unexpected(planes.error());
    return vertical_from_given(*planes);
  };
  if (by == LevelledBy::nothing) return turned_by(wish, by, std::nullopt);
  const auto down = vertical();
  if (!down) return tl::unexpected(down.error());
  return turned_by(wish, by, *down);
}

Result<Levelled> level_panorama(const LevelWish& wish, const Image& panorama) {
  const Equirect raster{panorama.width(), panorama.height()};
  const LevelledBy by = edges_to_use(wish, false);
  const auto vertical = [&]() -> Result<Vertical> {
    if (by == LevelledBy::found) return find_vertical(panorama);
    const auto planes = planes_of(wish.edges, [&](const PicturePoint& point) {
      return direction_in_panorama(raster, point);
    });
    if (!planes) return tl::unexpected(planes.error());
    return vertical_from_given(*planes);
  };
  if (by == LevelledBy::nothing) return turned_by(wish, by, std::nullopt);
  const auto down = vertical();
  if (!down) return tl::unexpected(down.error());
  return turned_by(wish, by, *down);
}

}  // namespace seamwright
