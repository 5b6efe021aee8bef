#pragma once

// Minimal raw frames (DNG 1.4) of an invented body whose primaries are those of BT.709, written by
// libtiff alone.

#include <array>
#include <cmath>
#include <filesystem>
#include <functional>
#include <vector>

#include "tests/imaging/raw_tiff.h"

namespace seamwright::test {

inline constexpr double kDngBlack = 512;
inline constexpr double kDngWhite = 15872;
/// What a white wall gives: green is the most sensitive (AsShotNeutral).
inline constexpr std::array<float, 3> kDngNeutral = {0.5F, 1.0F, 0.625F};

/// Of a photosite: camera signal, 0…1 between black and white, before it is cut there.
using DngSignal = std::function<double(int x, int y, std::size_t channel)>;

// Some of these tags (TIFF/EP, ISO 12234-2; DNG 1.4) take their count along, others know it.
template <class T>
void set_dng_array(TIFF* tiff, std::uint32_t tag, const std::vector<T>& values) {
  const TIFFField* field = TIFFFieldWithTag(tiff, tag);
  require_tiff(field != nullptr);
  const auto count = static_cast<int>(values.size());
  require_tiff((TIFFFieldPassCount(field) != 0 ? TIFFSetField(tiff, tag, count, values.data())
                                               : TIFFSetField(tiff, tag, values.data())) == 1);
}

/// The pattern is red green / green blue.
inline void write_dng(const std::filesystem::path& path, int width, int height,
                      const DngSignal& signal) {
  TIFF* t = open_raw_tiff(path, "wl");
  require_tiff(t != nullptr);
  TIFFSetField(t, TIFFTAG_SUBFILETYPE, 0);
  TIFFSetField(t, TIFFTAG_IMAGEWIDTH, width);
  TIFFSetField(t, TIFFTAG_IMAGELENGTH, height);
  TIFFSetField(t, TIFFTAG_BITSPERSAMPLE, 16);
  TIFFSetField(t, TIFFTAG_SAMPLESPERPIXEL, 1);
  TIFFSetField(t, TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_CFA);
  TIFFSetField(t, TIFFTAG_COMPRESSION, COMPRESSION_NONE);
  TIFFSetField(t, TIFFTAG_PLANARCONFIG, PLANARCONFIG_CONTIG);
  TIFFSetField(t, TIFFTAG_ROWSPERSTRIP, height);
  TIFFSetField(t, TIFFTAG_ORIENTATION, ORIENTATION_TOPLEFT);
  TIFFSetField(t, TIFFTAG_MAKE, "Lantern");
  TIFFSetField(t, TIFFTAG_MODEL, "Lantern Two");
  set_dng_array<std::uint8_t>(t, TIFFTAG_DNGVERSION, {1, 4, 0, 0});
  TIFFSetField(t, TIFFTAG_UNIQUECAMERAMODEL, "Lantern Two");
  set_dng_array<std::uint16_t>(t, TIFFTAG_CFAREPEATPATTERNDIM, {2, 2});
  set_dng_array<std::uint8_t>(t, TIFFTAG_CFAPATTERN, {0, 1, 1, 2});
  set_dng_array<float>(t, TIFFTAG_BLACKLEVEL, {static_cast<float>(kDngBlack)});
  set_dng_array<std::uint32_t>(t, TIFFTAG_WHITELEVEL, {static_cast<std::uint32_t>(kDngWhite)});
  // XYZ (D65) to linear BT.709 (IEC 61966-2-1, 5.3, four digits).
  set_dng_array<float>(
      t, TIFFTAG_COLORMATRIX1,
      {3.2406F, -1.5372F, -0.4986F, -0.9689F, 1.8758F, 0.0415F, 0.0557F, -0.2040F, 1.0570F});
  TIFFSetField(t, TIFFTAG_CALIBRATIONILLUMINANT1, 21);  // D65
  set_dng_array<float>(t, TIFFTAG_ASSHOTNEUTRAL, {kDngNeutral.begin(), kDngNeutral.end()});
  std::vector<std::uint16_t> row(static_cast<std::size_t>(width));
  for (int y = 0; y < height; ++y) {
    for (int x = 0; x < width; ++x) {
      const double cut = std::min(1.0, signal(x, y, static_cast<std::size_t>(x % 2 + y % 2)));
      row[static_cast<std::size_t>(x)] =
          static_cast<std::uint16_t>(std::lround(kDngBlack + (kDngWhite - kDngBlack) * cut));
    }
    require_tiff(TIFFWriteScanline(t, row.data(), static_cast<std::uint32_t>(y), 0) == 1);
  }
  TIFFClose(t);
}

}  // namespace seamwright::test
