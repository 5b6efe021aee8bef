#pragma once

// A finished panorama as the files that people want of it.

#include <filesystem>
#include <optional>

#include "base/progress.h"
#include "base/result.h"
#include "compose/finish/cube.h"
#include "imaging/frame.h"
#include "imaging/image.h"
#include "imaging/metadata.h"
#include "imaging/tiff_writer.h"

namespace seamwright {

/// Rows of a panorama that are kept.
struct Latitudes {
  double low_deg = -90;
  double high_deg = 90;
};

/// Where to write what; empty: not at all.
struct Deliverables {
  std::filesystem::path picture = {};  ///< .tif .tiff .png .jpg .jpeg .exr
  std::filesystem::path jpeg = {};
  std::filesystem::path exr = {};
  std::filesystem::path faces = {};  ///< folder
  std::filesystem::path tiles = {};  ///< folder
  TiffCompression tiff_compression = TiffCompression::none;
  int jpeg_quality = 92;  ///< 1…100
  int jpeg_width_px = 0;  ///< even, 64 to the panorama's own; 0: the same
  Latitudes kept = {};    ///< of picture, jpeg and exr; faces and tiles show the whole sphere
  CubeOptions cube = {};

  /// Refuses options out of range, names that do not fit, files that would be each other, and
  /// destinations that cannot be written. Nothing is left behind.
  [[nodiscard]] std::optional<Error> check(int panorama_width_px) const;
};

/// What is written beside the pixels: shooting data as EXIF, and the panorama's own XMP. Sizes and
/// crop are filled in here; the rest of `sphere` is taken as it is.
struct PanoramaRecord {
  FrameInfo info;
  PanoramaInfo sphere;
};

/// Writes all of them, each whole or not at all. `panorama`: a whole sphere.
[[nodiscard]] Result<void> deliver(const Image& panorama, const PanoramaRecord& record,
                                   const Deliverables& wanted, const ProgressFn& progress = {});

}  // namespace seamwright
