#pragma once

// A tour file (`*.tour.json`): the rooms of a house, where their panoramas were taken, and which
// rooms lead to which. docs/tour.md describes every key.
//
// Places are those of a map (templates/map_file.h): metres to the right and ahead, in the axes of
// the first shot of a network; headings clockwise as seen from above. Networks that share no view
// share no axes.

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.h"

namespace seamwright {

/// Where a panorama was taken.
struct TourPlace {
  int network = 0;
  double right_m = 0;
  double ahead_m = 0;
  double heading_deg = 0;  ///< of the panorama's middle
  double position_sigma_m = 0;
  double heading_sigma_deg = 0;

  bool operator==(const TourPlace&) const = default;
};

struct TourRoom {
  std::string name;                 ///< unique; of the panorama's files
  std::string title;                ///< what a visitor reads
  std::filesystem::path panorama;   ///< a whole sphere
  std::optional<TourPlace> place;   ///< unknown: no other room shows where it is
  std::optional<double> first_deg;  ///< longitude that a visitor sees first; 0 when empty

  bool operator==(const TourRoom&) const = default;
};

/// Why two rooms lead to one another.
enum class LinkOrigin {
  near,     ///< neighbours on the map
  by_hand,  ///< a person says so
};

/// Two rooms; a visitor may go both ways.
struct TourLink {
  std::string from;
  std::string to;
  LinkOrigin origin = LinkOrigin::by_hand;
  /// Longitude of the way in the panorama of `from` and of `to`; empty: as the map has it, or
  /// unknown.
  std::optional<double> from_deg;
  std::optional<double> to_deg;

  bool operator==(const TourLink&) const = default;
};

struct Tour {
  std::string title;
  std::string start;      ///< name of the first room
  double height_m = 1.5;  ///< of the lenses above the floor: where marks stand. 0.2…5
  std::vector<TourRoom> rooms;
  std::vector<TourLink> links;

  /// Names that are unique and known, numbers in range, links between two different rooms, once.
  [[nodiscard]] std::optional<Error> validate() const;
  bool operator==(const Tour&) const = default;
};

/// Reads and checks. `name` stands for the file in errors; panoramas are relative to its folder.
[[nodiscard]] Result<Tour> parse_tour(std::string_view json, const std::string& name);
[[nodiscard]] Result<Tour> read_tour_file(const std::filesystem::path& path);
/// The whole file, one line a room and a link, same bytes for the same tour.
[[nodiscard]] std::string format_tour(const Tour& tour);

/// True for `*.tour.json`.
[[nodiscard]] bool is_tour_file(const std::filesystem::path& path);

}  // namespace seamwright
