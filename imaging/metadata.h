#pragma once

// EXIF and XMP. Safe to call from several threads; the metadata library's own messages are
// silenced.

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "base/result.h"
#include "imaging/frame.h"

namespace seamwright {

/// What a TIFF, PNG or JPEG says about how it was taken. Fields that are missing, malformed or
/// not finite are left empty; a file without EXIF is no error.
[[nodiscard]] Result<FrameInfo> read_frame_info(const std::filesystem::path& path);

/// A file that a picture was made from.
struct MadeFromFile {
  std::string name;  ///< without its folder
  std::string sha256;

  bool operator==(const MadeFromFile&) const = default;
};

/// What a picture was made from and by what, in an XMP namespace of our own,
/// https://seamwright.example/ns/made/1.0/. Nothing of the clock, the machine or a folder.
struct MadeFrom {
  std::string program;              ///< "Seamwright 0.1.0"
  std::string template_sha256;      ///< of the template's bytes
  std::vector<MadeFromFile> files;  ///< frames and shot file, by name
  /// What the program moved of the template by itself, "lens1.rotation_x 0.0031" (radians) a line;
  /// empty: nothing.
  std::vector<std::string> touch = {};

  bool operator==(const MadeFrom&) const = default;
};

/// What a viewer needs to show a spherical panorama: the fields of GPano XMP, namespace
/// http://ns.google.com/photos/1.0/panorama/. The projection is equirectangular.
struct PanoramaInfo {
  int full_width_px = 0;   ///< FullPanoWidthPixels: of the whole sphere
  int full_height_px = 0;  ///< FullPanoHeightPixels
  int left_px = 0;         ///< CroppedAreaLeftPixels: where this picture sits in the sphere
  int top_px = 0;          ///< CroppedAreaTopPixels
  int width_px = 0;        ///< CroppedAreaImageWidthPixels: this picture
  int height_px = 0;       ///< CroppedAreaImageHeightPixels
  bool use_viewer = true;  ///< UsePanoramaViewer
  double heading_deg = 0;  ///< PoseHeadingDegrees of the middle column; wrapped into [0, 360)
  std::optional<double> pitch_deg;            ///< PosePitchDegrees, −90…90
  std::optional<double> roll_deg;             ///< PoseRollDegrees, wrapped into (−180, 180]
  std::optional<int> initial_heading_deg;     ///< InitialViewHeadingDegrees; wrapped to 0…359
  std::optional<int> initial_pitch_deg;       ///< InitialViewPitchDegrees
  std::optional<int> source_photos;           ///< SourcePhotosCount
  std::optional<std::string> first_taken_at;  ///< FirstPhotoDate, as EXIF "YYYY:MM:DD HH:MM:SS"
  std::optional<std::string> last_taken_at;   ///< LastPhotoDate, likewise
  std::string software = "Seamwright";        ///< StitchingSoftware
  std::optional<MadeFrom> made_from = {};

  /// A picture of the whole sphere.
  [[nodiscard]] static PanoramaInfo whole_sphere(int width_px, int height_px);
};

/// The XMP packet of a panorama, UTF-8, same bytes for same info. Dates that are not in EXIF form
/// are left out. What the picture was made from stands beside it, where it is known.
[[nodiscard]] std::string gpano_xmp(const PanoramaInfo& info);

/// What a file says of itself in that namespace; nothing when it is no equirectangular panorama.
/// Initial views are not read. Fails only when the file cannot be read.
[[nodiscard]] Result<std::optional<PanoramaInfo>> read_panorama_info(
    const std::filesystem::path& path);
/// Whether it says there that it is a panorama; a file that cannot be read says nothing.
[[nodiscard]] bool says_panorama(const std::filesystem::path& path);

}  // namespace seamwright
