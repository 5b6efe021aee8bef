#include "apps/workbench/edit_json.h"

#include <array>
#include <cmath>
#include <cstddef>
#include <initializer_list>
#include <string>

#include <fmt/format.h>

#include "base/enum_names.h"
#include "templates/choice_names.h"

namespace seamwright::workbench {

namespace {

using nlohmann::json;

// Inside this file only: what is wrong travels up as one of these.
struct Malformed {
  std::string field;
  std::string what;
};

const json& member(const json& object, const std::string& key) {
  if (!object.is_object() || !object.contains(key)) throw Malformed{key, "is missing"};
  return object.at(key);
}

void only(const json& object, std::initializer_list<std::string_view> keys) {
  if (!object.is_object()) throw Malformed{"edit", "is no object"};
  for (const auto& [key, value] : object.items()) {
    bool known = false;
    for (const std::string_view allowed : keys) known = known || key == allowed;
    if (!known) throw Malformed{key, "is not known here"};
  }
}

double number(const json& value, const std::string& field) {
  if (!value.is_number()) throw Malformed{field, "is no number"};
  return value.get<double>();
}

int whole(const json& object, const std::string& key) {
  const json& value = member(object, key);
  if (!value.is_number_integer()) throw Malformed{key, "is no whole number"};
  // As a double first: a whole number beyond 63 bits would wrap around.
  if (std::abs(value.get<double>()) > 1e9) throw Malformed{key, "is out of range"};
  return value.get<int>();
}

Vec2 pair(const json& value, const std::string& field) {
  if (!value.is_array() || value.size() != 2) throw Malformed{field, "is no pair of numbers"};
  return {number(value[0], field), number(value[1], field)};
}

PanoramaPlace place_in(const json& value, const std::string& field) {
  const Vec2 at = pair(value, field);
  return {at.x(), at.y()};
}

template <std::size_t N>
std::size_t choice(const json& object, const std::string& key,
                   const std::array<std::string_view, N>& names) {
  const json& value = member(object, key);
  for (std::size_t i = 0; i < N; ++i) {
    if (value.is_string() && value.get_ref<const std::string&>() == names[i]) return i;
  }
  throw Malformed{key, "is none of the known words"};
}

ManualTie tie_of(const json& object) {
  only(object, {"range", "sigma_px", "sights"});
  ManualTie tie;
  tie.range = static_cast<TieRange>(choice(object, "range", kRangeNames));
  tie.sigma_px = number(member(object, "sigma_px"), "sigma_px");
  const json& sights = member(object, "sights");
  if (!sights.is_array()) throw Malformed{"sights", "is no list"};
  for (const json& sight : sights) {
    only(sight, {"lens", "px"});
    tie.sights.push_back({whole(sight, "lens"), pair(member(sight, "px"), "px")});
  }
  return tie;
}

SeamStroke stroke_of(const json& object) {
  only(object, {"wish", "lens", "reach_rad", "path_rad"});
  SeamStroke stroke;
  stroke.wish = static_cast<StrokeWish>(choice(object, "wish", kWishNames));
  stroke.lens = whole(object, "lens");
  stroke.reach_rad = number(member(object, "reach_rad"), "reach_rad");
  const json& path = member(object, "path_rad");
  if (!path.is_array()) throw Malformed{"path_rad", "is no list"};
  for (const json& place : path) stroke.path.push_back(place_in(place, "path_rad"));
  return stroke;
}

UprightEdge edge_of(const json& object) {
  only(object, {"ends_rad"});
  const json& ends = member(object, "ends_rad");
  UprightEdge edge;
  if (!ends.is_array() || ends.size() != edge.ends.size()) {
    throw Malformed{"ends_rad", "is no list of two places"};
  }
  for (std::size_t i = 0; i < edge.ends.size(); ++i) {
    edge.ends[i] = place_in(ends[i], "ends_rad");
  }
  return edge;
}

Edit read_edit(const json& object) {
  const json& kind = member(object, "kind");
  const std::string name = kind.is_string() ? kind.get<std::string>() : std::string();
  if (name == "add-tie") {
    only(object, {"kind", "tie"});
    return AddTie{tie_of(member(object, "tie"))};
  }
  if (name == "change-tie") {
    only(object, {"kind", "id", "tie"});
    return ChangeTie{whole(object, "id"), tie_of(member(object, "tie"))};
  }
  if (name == "switch-tie") {
    only(object, {"kind", "id", "on"});
    const json& on = member(object, "on");
    if (!on.is_boolean()) throw Malformed{"on", "is neither true nor false"};
    return SwitchTie{whole(object, "id"), on.get<bool>()};
  }
  if (name == "remove-tie") {
    only(object, {"kind", "id"});
    return RemoveTie{whole(object, "id")};
  }
  if (name == "add-stroke") {
    only(object, {"kind", "stroke"});
    return AddStroke{stroke_of(member(object, "stroke"))};
  }
  if (name == "remove-stroke") {
    only(object, {"kind", "id"});
    return RemoveStroke{whole(object, "id")};
  }
  if (name == "add-vertical") {
    only(object, {"kind", "vertical"});
    return AddVertical{edge_of(member(object, "vertical"))};
  }
  if (name == "remove-vertical") {
    only(object, {"kind", "id"});
    return RemoveVertical{whole(object, "id")};
  }
  throw Malformed{"kind", "is no kind of edit"};
}

Error malformed(std::string field, std::string what) {
  return {.kind = ErrorKind::user_input,
          .where = {},
          .field = std::move(field),
          .what = std::move(what),
          .remedy = "docs/workbench-api.md has the form"};
}

json json_of(const PanoramaPlace& place) {
  return json::array({place.longitude_rad, place.latitude_rad});
}

struct Teller {
  json operator()(const AddTie& edit) const {
    return {{"kind", "add-tie"}, {"tie", as_json(edit.tie)}};
  }
  json operator()(const ChangeTie& edit) const {
    return {{"kind", "change-tie"}, {"id", edit.id}, {"tie", as_json(edit.tie)}};
  }
  json operator()(const SwitchTie& edit) const {
    return {{"kind", "switch-tie"}, {"id", edit.id}, {"on", edit.on}};
  }
  json operator()(const RemoveTie& edit) const { return {{"kind", "remove-tie"}, {"id", edit.id}}; }
  json operator()(const AddStroke& edit) const {
    return {{"kind", "add-stroke"}, {"stroke", as_json(edit.stroke)}};
  }
  json operator()(const RemoveStroke& edit) const {
    return {{"kind", "remove-stroke"}, {"id", edit.id}};
  }
  json operator()(const AddVertical& edit) const {
    return {{"kind", "add-vertical"}, {"vertical", as_json(edit.edge)}};
  }
  json operator()(const RemoveVertical& edit) const {
    return {{"kind", "remove-vertical"}, {"id", edit.id}};
  }
};

}  // namespace

json as_json(const ManualTie& tie) {
  json sights = json::array();
  for (const ManualSight& sight : tie.sights) {
    sights.push_back({{"lens", sight.lens}, {"px", {sight.px.x(), sight.px.y()}}});
  }
  return {{"range", name_in(kRangeNames, tie.range)},
          {"sigma_px", tie.sigma_px},
          {"sights", std::move(sights)}};
}

json as_json(const SeamStroke& stroke) {
  json path = json::array();
  for (const PanoramaPlace& place : stroke.path) path.push_back(json_of(place));
  return {{"wish", name_in(kWishNames, stroke.wish)},
          {"lens", stroke.lens},
          {"reach_rad", stroke.reach_rad},
          {"path_rad", std::move(path)}};
}

json as_json(const UprightEdge& edge) {
  return {{"ends_rad", json::array({json_of(edge.ends[0]), json_of(edge.ends[1])})}};
}

json as_json(const Edit& edit) { return std::visit(Teller{}, edit); }

Result<Edit> edit_of(const json& object) {
  try {
    return read_edit(object);
  } catch (const Malformed& fault) {
    return fail(malformed(fault.field, fault.what));
  }
}

Result<json> parsed(std::string_view text) {
  json value = json::parse(text.begin(), text.end(), nullptr, false);
  if (value.is_discarded()) return fail(malformed("body", "is no JSON"));
  return value;
}

}  // namespace seamwright::workbench
