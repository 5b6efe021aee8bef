#pragma once

// A panorama as six flat faces, and as tiles of them at several sizes, with a description in JSON
// that says for each face which way it looks: nothing has to be guessed.
//
//   DIR/cube.json
//   DIR/above.tif ahead.tif behind.tif below.tif left.tif right.tif      whole faces
//
//   DIR/tiles.json
//   DIR/<face px>/ahead-r0-c0.jpg …                                      tiles, row r, column c
//
// A face covers 90° × 90°; `right`, `down` and `ahead` are unit vectors in the panorama's axes
// (projection/conventions.h). A pixel (u, v) of a face of n px looks along
// ahead + (2u/n − 1) right + (2v/n − 1) down. Tiles of one size have the same edge but for the last
// row and column; each level is half as wide as the one before, down to one tile a face.

#include <filesystem>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "compose/finish/flat_view.h"
#include "imaging/image.h"

namespace seamwright {

struct CubeFace {
  const char* name;
  FlatView view;
};

/// By the alphabet: above, ahead, behind, below, left, right. `size_px`: of a face.
[[nodiscard]] std::vector<CubeFace> cube_faces(int size_px);

struct CubeOptions {
  int face_px = 0;  ///< 0: native, as fine as the horizon in a face's middle; 16…32768
  /// 64…4096. The native faces of panoramas 4096, 8192 and 16384 px wide (1304, 2608, 5216 px) fall
  /// into 2, 4 and 8 tiles a side that are full but for a border; a multiple of a JPEG's 16 px.
  int tile_px = 656;
  int jpeg_quality = 90;

  [[nodiscard]] std::optional<Error> validate() const;
};

/// Every file that write_faces or write_tiles writes, from a panorama of this width.
[[nodiscard]] std::vector<std::filesystem::path> face_files(int panorama_width_px,
                                                            const std::filesystem::path& folder,
                                                            const CubeOptions& options);
[[nodiscard]] std::vector<std::filesystem::path> tile_files(int panorama_width_px,
                                                            const std::filesystem::path& folder,
                                                            const CubeOptions& options);

/// Six faces as TIFF of the panorama's own depth. The folder is made when missing; cube.json is
/// written last. Stage told: "cutting faces".
[[nodiscard]] Result<void> write_faces(const Image& panorama, const std::filesystem::path& folder,
                                       const CubeOptions& options = {},
                                       const ProgressFn& progress = {});

/// Tiles as JPEG; tiles.json is written last. Stage told: "cutting tiles".
[[nodiscard]] Result<void> write_tiles(const Image& panorama, const std::filesystem::path& folder,
                                       const CubeOptions& options = {},
                                       const ProgressFn& progress = {});

}  // namespace seamwright
