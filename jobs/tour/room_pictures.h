#pragma once

// The pictures of one room of a tour: six faces of a cube (compose/finish/cube.h) at a few sizes,
// the smallest to be there at once, the largest for a close look:
//
//   DIR/<face px>/ahead.jpg …

#include <filesystem>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

/// Edges of the faces, px, smallest first: 256, 1024 and 2048, but none that is finer than a
/// panorama of this width. A smaller one ends with its own.
[[nodiscard]] std::vector<int> room_sizes(int panorama_width_px);

/// Every file that write_room_pictures writes.
[[nodiscard]] std::vector<std::filesystem::path> room_files(int panorama_width_px,
                                                            const std::filesystem::path& folder);

/// JPEG with the panorama's profile and without EXIF: neither where nor when it was taken. The
/// folders are made when missing. `panorama`: a whole sphere. Stage told: "cutting faces".
[[nodiscard]] Result<void> write_room_pictures(const Image& panorama,
                                               const std::filesystem::path& folder,
                                               const ProgressFn& progress = {});

}  // namespace seamwright
