#pragma once

// Which rooms of a house lead to which, and where a visitor sees the way.

#include <cstddef>
#include <optional>
#include <vector>

#include "templates/tour_file.h"

namespace seamwright {

/// Links between neighbours of one network: two rooms that no third one is nearer to than they are
/// to each other (the relative neighbourhood graph of Toussaint, Pattern Recognition 12, 1980). It
/// joins all rooms of a network and leaves out ways past another stand. Ordered by the rooms'
/// order.
[[nodiscard]] std::vector<TourLink> links_between_neighbours(const std::vector<TourRoom>& rooms);

/// One way out of a room, as a visitor sees it.
struct TourDoor {
  std::size_t to = 0;                 ///< index of the room
  std::optional<double> bearing_deg;  ///< longitude in this room's panorama
  std::optional<double> back_deg;     ///< longitude of the way back in the other's
  std::optional<double> distance_m;
};

/// The ways out of room `from`, in the order of the links. The tour is valid.
[[nodiscard]] std::vector<TourDoor> doors_of(const Tour& tour, std::size_t from);

}  // namespace seamwright
