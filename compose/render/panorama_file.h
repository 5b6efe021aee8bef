#pragma once

#include <filesystem>
#include <optional>

#include "compose/render/render.h"
#include "imaging/metadata.h"
#include "imaging/tiff_writer.h"

namespace seamwright {

/// Where a panorama goes and how it is stored.
struct PanoramaFiles {
  /// .tif/.tiff (written row by row as it is rendered), .png, .jpg/.jpeg or .exr (held in memory).
  std::filesystem::path picture;
  /// An 8-bit companion, .jpg/.jpeg; its pixels are held in memory while rendering.
  std::optional<std::filesystem::path> jpeg = std::nullopt;
  TiffCompression tiff_compression = TiffCompression::none;
  int jpeg_quality = 92;   ///< 1…100
  int jpeg_width_px = 0;   ///< of the companion, even, 64 to the panorama's own; 0: the same
  double heading_deg = 0;  ///< compass bearing of the middle column
  bool keep_location = true;
  std::optional<MadeFrom> made_from = {};  ///< written beside the panorama's own XMP
};

/// Renders into files, with the frames' ICC profile byte for byte, EXIF of the first frame and the
/// GPano XMP of a whole sphere. Destinations that cannot be written are refused before the
/// work begins; each file appears whole or not at all, the companion after the picture.
[[nodiscard]] Result<RenderReport> write_panorama(const Rig& rig, std::span<const Frame> frames,
                                                  const RenderOptions& options,
                                                  const PanoramaFiles& files,
                                                  const ProgressFn& progress = {});

/// Refuses names, numbers and destinations as write_panorama() does.
[[nodiscard]] std::optional<Error> check_panorama_files(const PanoramaFiles& files,
                                                        int panorama_width_px);

/// Writes a panorama that was rendered from `frames` and then worked on.
[[nodiscard]] Result<void> write_panorama_image(const Image& panorama,
                                                std::span<const Frame> frames,
                                                const PanoramaFiles& files,
                                                const ProgressFn& progress = {});

}  // namespace seamwright
