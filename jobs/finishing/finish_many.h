#pragma once

// Many panoramas finished alike, as often as is needed and no more (jobs/archive/run.h). They keep
// their names: of hall.tif are written
//
//   hall.tif  hall.jpg  hall.exr  hall-faces/  hall-tiles/  hall-floor.tif
//
// whichever of them are asked for, and the journal in the folder `.finish`.

#include <array>
#include <filesystem>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "jobs/archive/run.h"
#include "jobs/finishing/finish_panorama.h"
#include "jobs/shot/panorama_list.h"

namespace seamwright {

/// What may be written of each.
inline constexpr std::array<std::string_view, 6> kFinishKinds = {"tif",   "jpeg",  "exr",
                                                                 "faces", "tiles", "floor"};

struct FinishOrder {
  std::vector<ListedShot> panoramas;
  FinishWish wish = {};                   ///< of all; `floor_in` is found in `floors`
  Deliverables wanted = {};               ///< numbers and compression; its names are not looked at
  std::set<std::string> kinds = {"tif"};  ///< of kFinishKinds
  std::filesystem::path floors = {};      ///< folder of edited floors, hall-floor.tif; or none
  std::filesystem::path out = {};         ///< folder; none of the panoramas may lie in it
};

/// The panoramas of files, folders and run files: of a run those that `restitch` made of its shots.
/// A run file that cannot be read is a place of no use.
[[nodiscard]] Result<PanoramaList> list_panoramas_and_runs(
    const std::vector<std::filesystem::path>& inputs, const ProgressFn& progress = {});

/// The panoramas of an order as pieces of an archive run.
class FinishMany {
 public:
  /// The folder of the journal.
  static constexpr const char* kJournal = ".finish";

  explicit FinishMany(FinishOrder order);

  /// Why nothing at all can be done.
  [[nodiscard]] std::optional<Error> refused() const;
  /// One piece a panorama. Those that would take each other's place say so.
  [[nodiscard]] const std::vector<ArchiveItem>& items() const { return items_; }
  /// Finishes one; gives what a person should look at.
  [[nodiscard]] Result<std::vector<std::string>> finish(const ArchiveItem& item,
                                                        const ProgressFn& progress = {}) const;

 private:
  [[nodiscard]] FinishFiles files_of(const std::string& name) const;
  [[nodiscard]] FinishWish wish_of(const std::string& name) const;
  [[nodiscard]] std::string settings() const;
  void add(const ListedShot& panorama);
  void add_left_out(const ListedShot& panorama);

  FinishOrder order_;
  std::map<std::string, std::filesystem::path> panorama_of_;  // by the item's name
  std::vector<ArchiveItem> items_;
};

}  // namespace seamwright
