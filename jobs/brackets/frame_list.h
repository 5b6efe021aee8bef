#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "imaging/frame.h"

namespace seamwright {

/// A frame on disk, before its pixels are read.
struct ListedFrame {
  std::filesystem::path file;
  FrameInfo info;
  int width_px = 0;
  int height_px = 0;
};

/// The pictures in a folder, by suffix, and other raw ones; hidden ones and folders below left out;
/// in the order of their names. Fails where there are none.
[[nodiscard]] Result<std::vector<std::filesystem::path>> pictures_in(
    const std::filesystem::path& folder);

/// What the headers of these files say. A folder stands for the pictures in it. Fails on files that
/// are no pictures, on a folder without any, and on a file named twice.
[[nodiscard]] Result<std::vector<ListedFrame>> list_frames(
    const std::vector<std::filesystem::path>& paths, const ProgressFn& progress = {});

/// A picture whose header cannot be read.
struct UnlistedFrame {
  std::filesystem::path file;
  Error error;
};

/// What can be listed, and what cannot.
struct FrameListing {
  std::vector<ListedFrame> frames;
  std::vector<UnlistedFrame> unlisted;
};

/// As list_frames, but goes on past what it would fail on; a file named twice is listed once. Fails
/// only when it is told to stop.
[[nodiscard]] Result<FrameListing> list_readable_frames(
    const std::vector<std::filesystem::path>& paths, const ProgressFn& progress = {});

}  // namespace seamwright
