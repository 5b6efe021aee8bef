#pragma once

// What lies on a card: pictures in nested folders, copies among them, other files beside them.

#include <filesystem>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"

namespace seamwright {

/// Something that a person should know of one file or one shot.
struct CardNote {
  std::string about;  ///< the file as it lies on the card, or the shot
  std::string words;

  bool operator==(const CardNote&) const = default;
};

struct CardPicture {
  std::filesystem::path file;
  std::filesystem::path place;  ///< relative to the card
  std::string sha256;
};

struct CardFiles {
  std::vector<CardPicture> pictures;  ///< each content once, in the order of their places
  int copies = 0;                     ///< further files of the same content
  int others = 0;                     ///< files that are no pictures; hidden ones are not counted
  std::vector<CardNote> unreadable;   ///< files and folders
};

/// All that lies below the folder but for `left_out`, a folder of the import's own. Reads every
/// picture. Fails where the card is no folder or holds no picture, and when it is told to stop.
[[nodiscard]] Result<CardFiles> walk_card(const std::filesystem::path& card,
                                          const std::vector<std::filesystem::path>& left_out,
                                          const ProgressFn& progress = {});

}  // namespace seamwright
