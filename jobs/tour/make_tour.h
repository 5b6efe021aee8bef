#pragma once

// From stitched rooms to a tour: what it says at first, the pictures of each room, and its page.
//
//   OUT/index.html
//   OUT/rooms/NAME/<face px>/ahead.jpg …      jobs/tour/room_pictures.h

#include <filesystem>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "jobs/archive/run.h"
#include "jobs/shot/panorama_list.h"
#include "templates/map_file.h"
#include "templates/tour_file.h"

namespace seamwright {

/// A stitched room.
struct StitchedRoom {
  std::string name;                ///< of its files
  std::string shot;                ///< what a map calls it
  std::filesystem::path panorama;  ///< a whole sphere
  double middle_deg = 0;           ///< where its middle looks from ahead of lens 0
};

struct StitchedRooms {
  std::vector<StitchedRoom> rooms;
  std::vector<Error> left_out;  ///< one for each that is of no use
};

/// The panoramas of files, folders and run files; of a run those that `restitch` made of its shots.
/// A run file that cannot be read is left out.
[[nodiscard]] Result<StitchedRooms> stitched_rooms(const std::vector<std::filesystem::path>& inputs,
                                                   const ProgressFn& progress = {});

/// The tour as it is before a person has edited it: each room where the map has it, linked to its
/// neighbours there. A room's title is its name in words. `folder`: of the tour file, which
/// panoramas are relative to. There is a room.
[[nodiscard]] Tour first_tour(const std::vector<StitchedRoom>& rooms, const MapFile& map,
                              std::string title, const std::filesystem::path& folder);

/// Rooms that stand on no map, by name.
[[nodiscard]] std::vector<std::string> rooms_without_place(const Tour& tour);
/// Rooms that no chain of links leads to from the start, by name.
[[nodiscard]] std::vector<std::string> rooms_out_of_reach(const Tour& tour);

/// The rooms of a tour as pieces of an archive run.
class MakeTour {
 public:
  /// The folder of the journal.
  static constexpr const char* kJournal = ".tour";

  /// `folder`: of the tour file. The tour is valid.
  MakeTour(Tour tour, std::filesystem::path folder, std::filesystem::path out);

  /// Why nothing can be done: panoramas that lie in the folder of the tour, or a page there that is
  /// somebody else's.
  [[nodiscard]] std::optional<Error> refused() const;
  [[nodiscard]] const std::vector<ArchiveItem>& items() const { return items_; }
  /// Makes the pictures of one.
  [[nodiscard]] Result<void> make(const ArchiveItem& item, const ProgressFn& progress = {}) const;
  /// Writes index.html for the rooms whose pictures are there; fails where there are none.
  [[nodiscard]] Result<void> write_page(const std::vector<ItemOutcome>& outcomes) const;
  [[nodiscard]] std::filesystem::path page_file() const { return out_ / "index.html"; }

 private:
  [[nodiscard]] std::filesystem::path panorama_of(const TourRoom& room) const;
  [[nodiscard]] std::filesystem::path pictures_of(const TourRoom& room) const;

  Tour tour_;
  std::filesystem::path folder_;
  std::filesystem::path out_;
  std::vector<ArchiveItem> items_;
};

}  // namespace seamwright
