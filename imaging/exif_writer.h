#pragma once

// Shooting data as EXIF (Exif 2.32, 4.5–4.6), little-endian, same bytes for same data. Values that
// EXIF cannot hold (not finite, negative times, dates of another form) are left out.

#include <cstdint>
#include <string>

#include "imaging/frame.h"

namespace seamwright {

/// The EXIF directory of a TIFF, to be put at `offset` from the start of the file; its values
/// follow it. `big`: BigTIFF entries.
[[nodiscard]] std::string exif_directory(const FrameInfo& info, std::uint64_t offset, bool big);

/// The GPS directory, likewise; empty when `info` has no valid location.
[[nodiscard]] std::string gps_directory(const FrameInfo& info, std::uint64_t offset, bool big);

/// A complete EXIF block as JPEG and PNG carry it: TIFF header, main, EXIF and,
/// where there is a location, GPS directory.
[[nodiscard]] std::string exif_block(const FrameInfo& info);

/// A fraction near `value` with the least denominator that is within 1e-9 of it, relatively.
struct Fraction {
  std::int64_t numerator = 0;
  std::int64_t denominator = 1;
};

/// `value` ≥ 0, below 2^31; terms stay below 2^31.
[[nodiscard]] Fraction simple_fraction(double value);

}  // namespace seamwright
