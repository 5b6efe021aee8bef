#pragma once

// The finished panoramas that files and folders hold.

#include <filesystem>
#include <vector>

#include "base/result.h"
#include "jobs/shot/shot_list.h"

namespace seamwright {

struct PanoramaList {
  std::vector<ListedShot> panoramas;  ///< by file name without its ending; places that are of no
                                      ///< use have a failure
  /// Of folders: the same panorama once more, smaller or as light, such as hall.jpg, hall-512.jpg
  /// and hall-light.tif beside hall.tif.
  std::vector<std::filesystem::path> companions;
  int others = 0;  ///< of folders: pictures that do not say that they are panoramas
};

/// A file that is named alone is taken for a panorama. Of what lies in a folder those pictures are
/// that say so. The file guard is told of all of them. Nothing fails the whole list.
[[nodiscard]] PanoramaList list_panoramas(
    const std::vector<std::filesystem::path>& files_and_folders);

}  // namespace seamwright
