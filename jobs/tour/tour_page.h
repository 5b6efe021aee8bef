#pragma once

// The page that shows a tour: one index.html that works from a disk and from any web server. It
// fetches nothing but the rooms' pictures beside it.
//
// The page holds its own style and script, and the tour as JSON, in which no character can end the
// element that holds it. Its policy (Content Security Policy Level 3, W3C) names the hashes of that
// style and that script: no other runs, whatever a room is called.

#include <string>
#include <string_view>
#include <vector>

#include "templates/tour_file.h"

namespace seamwright {

/// A room of the page beside what the tour says of it.
struct PageRoom {
  std::string folder;      ///< of its pictures, from the page, with '/'
  std::vector<int> sizes;  ///< room_sizes()
};

/// `rooms`: one a room of the tour, which is valid.
[[nodiscard]] std::string tour_page(const Tour& tour, const std::vector<PageRoom>& rooms);

}  // namespace seamwright
