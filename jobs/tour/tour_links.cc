#include "jobs/tour/tour_links.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <string>

namespace seamwright {

namespace {

double distance_m(const TourPlace& a, const TourPlace& b) {
  return std::hypot(a.right_m - b.right_m, a.ahead_m - b.ahead_m);
}

bool share_map(const TourRoom& a, const TourRoom& b) {
  return a.place && b.place && a.place->network == b.place->network;
}

double wrapped_deg(double angle) { return std::remainder(angle, 360.0); }

// Longitude, in the panorama taken at `from`, of the place `to`.
double bearing_deg(const TourPlace& from, const TourPlace& to) {
  const double on_map = std::atan2(to.right_m - from.right_m, to.ahead_m - from.ahead_m);
  return wrapped_deg(on_map * 180 / std::numbers::pi - from.heading_deg);
}

// Whether a third room stands between two.
bool has_nearer(const std::vector<TourRoom>& rooms, std::size_t a, std::size_t b) {
  const double apart = distance_m(*rooms[a].place, *rooms[b].place);
  for (std::size_t c = 0; c < rooms.size(); ++c) {
    if (c == a || c == b || !share_map(rooms[a], rooms[c])) continue;
    if (std::max(distance_m(*rooms[a].place, *rooms[c].place),
                 distance_m(*rooms[b].place, *rooms[c].place)) < apart) {
      return true;
    }
  }
  return false;
}

}  // namespace

std::vector<TourLink> links_between_neighbours(const std::vector<TourRoom>& rooms) {
  std::vector<TourLink> links;
  for (std::size_t a = 0; a < rooms.size(); ++a) {
    for (std::size_t b = a + 1; b < rooms.size(); ++b) {
      if (!share_map(rooms[a], rooms[b]) || has_nearer(rooms, a, b)) continue;
      links.push_back({.from = rooms[a].name,
                       .to = rooms[b].name,
                       .origin = LinkOrigin::near,
                       .from_deg = {},
                       .to_deg = {}});
    }
  }
  return links;
}

std::vector<TourDoor> doors_of(const Tour& tour, std::size_t from) {
  std::map<std::string, std::size_t> index_of;
  for (std::size_t i = 0; i < tour.rooms.size(); ++i) index_of.emplace(tour.rooms[i].name, i);
  const TourRoom& here = tour.rooms[from];
  std::vector<TourDoor> doors;
  for (const TourLink& link : tour.links) {
    const bool forwards = link.from == here.name;
    if (!forwards && link.to != here.name) continue;
    TourDoor door{.to = index_of.at(forwards ? link.to : link.from),
                  .bearing_deg = forwards ? link.from_deg : link.to_deg,
                  .back_deg = forwards ? link.to_deg : link.from_deg,
                  .distance_m = {}};
    const TourRoom& there = tour.rooms[door.to];
    if (share_map(here, there)) {
      if (!door.bearing_deg) door.bearing_deg = bearing_deg(*here.place, *there.place);
      if (!door.back_deg) door.back_deg = bearing_deg(*there.place, *here.place);
      door.distance_m = distance_m(*here.place, *there.place);
    }
    doors.push_back(door);
  }
  return doors;
}

}  // namespace seamwright
