#include "jobs/tour/tour_page.h"

#include <array>
#include <cstddef>

#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <openssl/sha.h>

#include "base/base64.h"
#include "base/escaped_markup.h"
#include "compose/finish/cube.h"
#include "jobs/tour/page_parts.h"
#include "jobs/tour/tour_links.h"

namespace seamwright {

namespace {

// As CSP writes it: 'sha256-…' in base64.
std::string policy_hash(std::string_view text) {
  std::array<unsigned char, SHA256_DIGEST_LENGTH> digest{};
  SHA256(reinterpret_cast<const unsigned char*>(text.data()), text.size(), digest.data());
  return fmt::format("'sha256-{}'",
                     base64({reinterpret_cast<const char*>(digest.data()), digest.size()}));
}

// "file:" because a page from a disk has no origin that 'self' could mean; "data:" for the empty
// icon, without which browsers ask for one.
std::string policy() {
  return fmt::format(
      "default-src 'none'; img-src 'self' file: data:; style-src {}; script-src {}; base-uri "
      "'none'; "
      "form-action 'none'",
      policy_hash(page_parts().style), policy_hash(page_parts().script));
}

template <class T>
void put(nlohmann::json& object, const char* key, const std::optional<T>& value) {
  if (value) object[key] = *value;
}

nlohmann::json door_json(const TourDoor& door) {
  nlohmann::json object = {{"to", door.to}};
  put(object, "bearing_deg", door.bearing_deg);
  put(object, "back_deg", door.back_deg);
  put(object, "distance_m", door.distance_m);
  return object;
}

nlohmann::json room_json(const Tour& tour, std::size_t index, const PageRoom& on_page) {
  const TourRoom& room = tour.rooms[index];
  nlohmann::json object = {{"name", room.name},
                           {"title", room.title},
                           {"folder", on_page.folder},
                           {"sizes", on_page.sizes},
                           {"doors", nlohmann::json::array()}};
  put(object, "first_deg", room.first_deg);
  if (room.place) {
    object["network"] = room.place->network;
    object["position_m"] = {room.place->right_m, room.place->ahead_m};
    object["heading_deg"] = room.place->heading_deg;
  }
  for (const TourDoor& door : doors_of(tour, index)) object["doors"].push_back(door_json(door));
  return object;
}

nlohmann::json faces_json() {
  nlohmann::json faces = nlohmann::json::array();
  const auto numbers = [](const Vec3& v) { return nlohmann::json{v.x(), v.y(), v.z()}; };
  for (const CubeFace& face : cube_faces(1)) {
    const Mat3& axes = face.view.sphere_from_view;
    faces.push_back({{"name", face.name},
                     {"right", numbers(axes.col(0))},
                     {"down", numbers(axes.col(1))},
                     {"ahead", numbers(axes.col(2))}});
  }
  return faces;
}

// JSON that may stand in a script element: no '<' (WHATWG HTML, 4.12.1.3), and ASCII only.
std::string embedded(const nlohmann::json& data) {
  std::string out;
  for (const char c : data.dump(-1, ' ', true, nlohmann::json::error_handler_t::replace)) {
    if (c == '<') {
      out += "\\u003c";
    } else {
      out += c;
    }
  }
  return out;
}

// Each @NAME@ of the frame once; what is put in is not looked at again.
std::string filled(std::string_view frame,
                   const std::vector<std::pair<std::string_view, std::string>>& parts) {
  std::string out;
  for (std::size_t at = 0; at < frame.size();) {
    bool found = false;
    for (const auto& [name, text] : parts) {
      if (!frame.substr(at).starts_with(name)) continue;
      out += text;
      at += name.size();
      found = true;
      break;
    }
    if (!found) out += frame[at++];
  }
  return out;
}

}  // namespace

std::string tour_page(const Tour& tour, const std::vector<PageRoom>& rooms) {
  nlohmann::json data = {{"title", tour.title},
                         {"height_m", tour.height_m},
                         {"start", 0},
                         {"faces", faces_json()},
                         {"rooms", nlohmann::json::array()}};
  for (std::size_t i = 0; i < tour.rooms.size(); ++i) {
    if (tour.rooms[i].name == tour.start) data["start"] = i;
    data["rooms"].push_back(room_json(tour, i, rooms[i]));
  }
  return filled(page_parts().frame, {{"@POLICY@", policy()},
                                     {"@TITLE@", escaped_markup(tour.title)},
                                     {"@STYLE@", std::string(page_parts().style)},
                                     {"@SCRIPT@", std::string(page_parts().script)},
                                     {"@DATA@", embedded(data)}});
}

}  // namespace seamwright
