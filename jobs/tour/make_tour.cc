#include "jobs/tour/make_tour.h"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <map>
#include <set>
#include <system_error>
#include <utility>

#include <fmt/format.h>

#include "base/file.h"
#include "base/folder_of.h"
#include "base/user_error.h"
#include "imaging/read_image.h"
#include "jobs/restitch/open_run.h"
#include "jobs/restitch/run_panoramas.h"
#include "jobs/tour/room_pictures.h"
#include "jobs/tour/tour_links.h"
#include "jobs/tour/tour_page.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr const char* kRooms = "rooms";

void add_run(RestitchOrder order, StitchedRooms& found) {
  for (const RunPanorama& made : run_panoramas(std::move(order))) {
    if (made.failure) {
      found.left_out.push_back(*made.failure);
      continue;
    }
    found.rooms.push_back({.name = made.name,
                           .shot = made.shot,
                           .panorama = made.file,
                           .middle_deg = made.middle_deg});
  }
}

// "breakfast_room" is the "Breakfast room".
std::string words_of(const std::string& name) {
  std::string words = name;
  for (char& c : words) {
    if (c == '_' || c == '-') c = ' ';
  }
  words[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(words[0])));
  return words;
}

std::optional<TourPlace> place_of(const StitchedRoom& room, const MapFile& map) {
  const auto shot = std::find_if(map.shots.begin(), map.shots.end(), [&](const MapShot& candidate) {
    return candidate.shot == room.shot || candidate.shot == room.name;
  });
  if (shot == map.shots.end() || !shot->place) return std::nullopt;
  const MapPlace& at = *shot->place;
  return TourPlace{.network = at.network,
                   .right_m = at.position_m.x(),
                   .ahead_m = at.position_m.z(),
                   .heading_deg = std::remainder(at.heading_deg + room.middle_deg, 360.0),
                   .position_sigma_m = std::hypot(at.position_sigma_m.x(), at.position_sigma_m.z()),
                   .heading_sigma_deg = at.heading_sigma_deg};
}

fs::path relative_to(const fs::path& file, const fs::path& folder) {
  std::error_code code;
  const fs::path relative = fs::relative(file, folder, code);
  return code || relative.empty() ? fs::absolute(file, code) : relative;
}

// Without the rooms that are of no use, and their links.
Tour of_use(const Tour& tour, const std::set<std::string>& names) {
  Tour left = tour;
  std::erase_if(left.rooms, [&](const TourRoom& room) { return !names.contains(room.name); });
  std::erase_if(left.links, [&](const TourLink& link) {
    return !names.contains(link.from) || !names.contains(link.to);
  });
  if (!left.rooms.empty() && !names.contains(left.start)) left.start = left.rooms.front().name;
  return left;
}

}  // namespace

Result<StitchedRooms> stitched_rooms(const std::vector<fs::path>& inputs,
                                     const ProgressFn& progress) {
  const SplitInputs split = split_inputs(inputs);
  StitchedRooms found;
  for (const ListedShot& listed : list_panoramas(split.rest).panoramas) {
    if (listed.failure) {
      found.left_out.push_back(*listed.failure);
      continue;
    }
    found.rooms.push_back(
        {.name = listed.name, .shot = listed.name, .panorama = listed.panorama, .middle_deg = 0});
  }
  for (const fs::path& file : split.run_files) {
    auto order = open_run_file(file, progress);
    if (!order && order.error().kind == ErrorKind::cancelled) {
      return tl::unexpected(order.error());
    }
    if (!order) {
      found.left_out.push_back(order.error());
      continue;
    }
    add_run(std::move(*order), found);
  }
  return found;
}

Tour first_tour(const std::vector<StitchedRoom>& rooms, const MapFile& map, std::string title,
                const fs::path& folder) {
  Tour tour{.title = std::move(title), .start = rooms.front().name, .rooms = {}, .links = {}};
  for (const StitchedRoom& room : rooms) {
    tour.rooms.push_back({.name = room.name,
                          .title = words_of(room.name),
                          .panorama = relative_to(room.panorama, folder),
                          .place = place_of(room, map),
                          .first_deg = {}});
  }
  tour.links = links_between_neighbours(tour.rooms);
  return tour;
}

std::vector<std::string> rooms_without_place(const Tour& tour) {
  std::vector<std::string> names;
  for (const TourRoom& room : tour.rooms) {
    if (!room.place) names.push_back(room.name);
  }
  return names;
}

std::vector<std::string> rooms_out_of_reach(const Tour& tour) {
  std::set<std::string> reached = {tour.start};
  for (bool grows = true; grows;) {
    grows = false;
    for (const TourLink& link : tour.links) {
      if (reached.contains(link.from) == reached.contains(link.to)) continue;
      reached.insert(link.from);
      reached.insert(link.to);
      grows = true;
    }
  }
  std::vector<std::string> beyond;
  for (const TourRoom& room : tour.rooms) {
    if (!reached.contains(room.name)) beyond.push_back(room.name);
  }
  return beyond;
}

MakeTour::MakeTour(Tour tour, fs::path folder, fs::path out)
    : tour_(std::move(tour)), folder_(std::move(folder)), out_(std::move(out)) {
  for (const TourRoom& room : tour_.rooms) {
    ArchiveItem item;
    item.name = room.name;
    item.settings = fmt::format("seamwright {} tour\n", SEAMWRIGHT_VERSION);
    item.inputs = {panorama_of(room)};
    item.further_outputs = [panorama = panorama_of(room),
                            pictures = pictures_of(room)]() -> Result<std::vector<fs::path>> {
      const auto header = read_image_header(panorama);
      if (!header) return tl::unexpected(header.error());
      return room_files(header->width, pictures);
    };
    items_.push_back(std::move(item));
  }
}

fs::path MakeTour::panorama_of(const TourRoom& room) const { return folder_ / room.panorama; }

fs::path MakeTour::pictures_of(const TourRoom& room) const { return out_ / kRooms / room.name; }

std::optional<Error> MakeTour::refused() const {
  for (const TourRoom& room : tour_.rooms) {
    if (!lies_in(panorama_of(room), out_)) continue;
    return user_error(out_.string(), "out", "holds the panoramas themselves",
                      "give another folder");
  }
  return refusal_to_write(page_file());
}

Result<void> MakeTour::make(const ArchiveItem& item, const ProgressFn& progress) const {
  const auto room = std::find_if(tour_.rooms.begin(), tour_.rooms.end(),
                                 [&](const TourRoom& one) { return one.name == item.name; });
  const auto panorama = read_image(panorama_of(*room));
  if (!panorama) return tl::unexpected(panorama.error());
  return write_room_pictures(*panorama, pictures_of(*room), progress);
}

Result<void> MakeTour::write_page(const std::vector<ItemOutcome>& outcomes) const {
  std::set<std::string> made;
  for (const ItemOutcome& outcome : outcomes) {
    if (outcome.state == ItemState::done || outcome.state == ItemState::unchanged) {
      made.insert(outcome.name);
    }
  }
  const Tour tour = of_use(tour_, made);
  if (tour.rooms.empty()) {
    return fail(user_error(out_.string(), {}, "there is no room to show",
                           "see above why none could be made"));
  }
  std::vector<PageRoom> rooms;
  for (const TourRoom& room : tour.rooms) {
    const auto header = read_image_header(panorama_of(room));
    if (!header) return tl::unexpected(header.error());
    rooms.push_back(
        {.folder = fmt::format("{}/{}", kRooms, room.name), .sizes = room_sizes(header->width)});
  }
  return write_file(page_file(), tour_page(tour, rooms));
}

}  // namespace seamwright
