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

// Reads the directory that the handle then stands in.
std::optional<Location> location(TIFF* tiff, toff_t offset) {
  if (TIFFReadGPSDirectory(tiff, offset) != 1) return {};
  const double* latitude = nullptr;
  const double* longitude = nullptr;
  if (TIFFGetField(tiff, GPSTAG_LATITUDE, &latitude) != 1 || latitude == nullptr) return {};
  if (TIFFGetField(tiff, GPSTAG_LONGITUDE, &longitude) != 1 || longitude == nullptr) return {};
  const auto degrees = [](const double* parts) {
    return parts[0] + parts[1] / 60 + parts[2] / 3600;
  };
  Location found{.latitude_deg = degrees(latitude), .longitude_deg = degrees(longitude)};
  if (!(found.latitude_deg <= 90 && found.longitude_deg <= 180)) return {};
  if (text(tiff, GPSTAG_LATITUDEREF) == "S") found.latitude_deg = -found.latitude_deg;
  if (text(tiff, GPSTAG_LONGITUDEREF) == "W") found.longitude_deg = -found.longitude_deg;
  found.altitude_m = number(tiff, GPSTAG_ALTITUDE);
  std::uint8_t below = 0;
  if (found.altitude_m && TIFFGetField(tiff, GPSTAG_ALTITUDEREF, &below) == 1 && below == 1) {
    found.altitude_m = -*found.altitude_m;
  }
  return found;
}

}  // namespace

FrameInfo read_bigtiff_exif(const PictureFile& file) {
  FrameInfo info;
  const auto handle = TiffHandle::open(file.path, "rm");
  if (!handle) return info;
  TIFF* tiff = handle->get();
  info.body_make = text(tiff, TIFFTAG_MAKE);
  info.body_model = text(tiff, TIFFTAG_MODEL);
  toff_t gps_offset = 0;
  const bool has_gps = TIFFGetField(tiff, TIFFTAG_GPSIFD, &gps_offset) == 1;
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
  info.body_serial = text(tiff, EXIFTAG_BODYSERIALNUMBER);
  info.lens_model = text(tiff, EXIFTAG_LENSMODEL);
  info.lens_serial = text(tiff, EXIFTAG_LENSSERIALNUMBER);
  if (has_gps) info.location = location(tiff, gps_offset);
  return info;
}

}  // namespace seamwright
