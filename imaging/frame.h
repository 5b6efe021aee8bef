#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

/// Where a picture was taken, by satellite (Exif 2.32, 4.6.6; WGS 84).
struct Location {
  double latitude_deg = 0;                ///< −90…90, north positive
  double longitude_deg = 0;               ///< −180…180, east positive
  std::optional<double> altitude_m = {};  ///< above sea level

  bool operator==(const Location&) const = default;
};

/// What the file says about how a frame was taken; absent where it says nothing.
struct FrameInfo {
  std::string file = {};                        ///< path as given
  std::optional<std::string> taken_at = {};     ///< EXIF DateTimeOriginal, "YYYY:MM:DD HH:MM:SS"
  std::optional<double> exposure_s = {};        ///< EXIF ExposureTime (0x829A)
  std::optional<double> f_number = {};          ///< EXIF FNumber (0x829D)
  std::optional<double> iso = {};               ///< EXIF ISO (0x8827)
  std::optional<double> exposure_bias_ev = {};  ///< EXIF ExposureBias (0x9204)
  std::optional<double> focal_length_mm = {};   ///< EXIF FocalLength (0x920A)
  std::optional<std::string> body_make = {};    ///< EXIF Make
  std::optional<std::string> body_model = {};   ///< EXIF Model
  std::optional<std::string> body_serial = {};  ///< EXIF BodySerialNumber (0xA431, Exif 2.3)
  std::optional<std::string> lens_model = {};   ///< EXIF LensModel
  std::optional<std::string> lens_serial = {};  ///< EXIF LensSerialNumber (0xA435, Exif 2.3)
  std::optional<Location> location = {};        ///< EXIF GPS directory
};

/// One lens' picture of one shot, upright, not mirrored, in the pixel convention of
/// projection/conventions.h.
struct Frame {
  Image image;
  FrameInfo info;
};

/// How the lenses of one shot sit in files.
enum class FrameLayout {
  one_per_file,  ///< one lens a file
  side_by_side,  ///< equal parts of one file, lens 0 leftmost
  stacked,       ///< equal parts of one file, lens 0 topmost
};

/// What is done to a frame on the way in, in this order: split, rotate, mirror.
struct FrameIntake {
  FrameLayout layout = FrameLayout::one_per_file;
  int lens_count = 2;                   ///< parts of one file; used by side_by_side and stacked
  std::vector<int> quarter_turns = {};  ///< clockwise quarter turns per lens; empty: none
  bool mirrored = false;                ///< flip left to right: the files hold mirrored pictures
};

/// Reads all frames of one shot. Files: one a lens, or exactly one for the combined layouts.
/// Fails on unreadable files, frames of different size or channel count, frames with the very same
/// pixels, and a width or height that does not divide.
[[nodiscard]] Result<std::vector<Frame>> read_shot(const std::vector<std::filesystem::path>& files,
                                                   const FrameIntake& intake);

/// The same of pictures that are in memory already, such as merged ones.
[[nodiscard]] Result<std::vector<Frame>> arrange_shot(std::vector<Frame> pictures,
                                                      const FrameIntake& intake);

}  // namespace seamwright
