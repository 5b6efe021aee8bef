#include "imaging/bigtiff_exif.h"

#include <cmath>

#include "imaging/exif_date.h"
#include "imaging/tiff_handle.h"

namespace seamwright {
namespace {

std::optional<std::string> text(TIFF* tiff, std::uint32_t tag) {
  const char* value = nullptr;
  if (TIFFGetField(tiff, tag, &value) != 1 || value == nullptr || *value == '\0') return {};
  return value;
}

// The library keeps some fractions as float and others as double.
std::optional<double> number(TIFF* tiff, std::uint32_t tag) {
  const TIFFField* field = TIFFFindField(tiff, tag, TIFF_ANY);
  if (field == nullptr) return {};
  float single = NAN;
  double twice = NAN;
  if (TIFFFieldSetGetSize(field) == static_cast<int>(sizeof(double))) {
    if (TIFFGetField(tiff, tag, &twice) != 1) return {};
  } else {
    if (TIFFGetField(tiff, tag, &single) != 1) return {};
    twice = single;
  }
  if (!std::isfinite(twice)) return {};
  return twice;
}

std::optional<double> positive_number(TIFF* tiff, std::uint32_t tag) {
  const auto value = number(tiff, tag);
  return value && *value > 0 ? value : std::nullopt;
}

std::optional<double> iso(TIFF* tiff) {
  std::uint16_t count = 0;
  const std::uint16_t* values = nullptr;
  if (TIFFGetField(tiff, EXIFTAG_ISOSPEEDRATINGS, &count, &values) != 1) return {};
  if (count == 0 || values == nullptr || values[0] == 0) return {};
  return values[0];
}

}  // namespace

FrameInfo read_bigtiff_exif(const PictureFile& file) {
  FrameInfo info;
  const auto handle = TiffHandle::open(file.path, "rm");
  if (!handle) return info;
  TIFF* tiff = handle->get();
  info.body_make = text(tiff, TIFFTAG_MAKE);
  info.body_model = text(tiff, TIFFTAG_MODEL);
  toff_t offset = 0;
  if (TIFFGetField(tiff, TIFFTAG_EXIFIFD, &offset) != 1) return info;
  if (TIFFReadEXIFDirectory(tiff, offset) != 1) return info;
  info.taken_at = text(tiff, EXIFTAG_DATETIMEORIGINAL);
  if (info.taken_at && !is_exif_date(*info.taken_at)) info.taken_at.reset();
  info.exposure_s = positive_number(tiff, EXIFTAG_EXPOSURETIME);
  info.f_number = positive_number(tiff, EXIFTAG_FNUMBER);
  info.iso = iso(tiff);
  info.exposure_bias_ev = number(tiff, EXIFTAG_EXPOSUREBIASVALUE);
  info.focal_length_mm = positive_number(tiff, EXIFTAG_FOCALLENGTH);
  info.lens_model = text(tiff, EXIFTAG_LENSMODEL);
  return info;
}

}  // namespace seamwright
