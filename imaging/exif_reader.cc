#include "imaging/exif_reader.h"

#include <cmath>
#include <exception>
#include <mutex>

#include <exiv2/exiv2.hpp>

#include "imaging/exif_date.h"

namespace seamwright {
namespace {

// Exiv2's XMP parser has global state: it is set up once, with a lock of ours. Its log level is
// global, too, and this program has no use for its messages.
void set_up_exiv2() {
  static std::once_flag once;
  std::call_once(once, [] {
    static std::mutex xmp_mutex;
    const auto lock = [](void* mutex, bool locking) {
      auto& m = *static_cast<std::mutex*>(mutex);
      locking ? m.lock() : m.unlock();
    };
    Exiv2::LogMsg::setLevel(Exiv2::LogMsg::mute);
    Exiv2::XmpParser::initialize(lock, &xmp_mutex);
  });
}

const Exiv2::Exifdatum* find(const Exiv2::ExifData& exif, const char* key) {
  const auto at = exif.findKey(Exiv2::ExifKey(key));
  return at == exif.end() || at->count() == 0 ? nullptr : &*at;
}

std::optional<std::string> text(const Exiv2::ExifData& exif, const char* key) {
  const auto* datum = find(exif, key);
  if (datum == nullptr) return {};
  std::string value = datum->toString();
  value.resize(value.find_last_not_of(std::string_view(" \0", 2)) + 1);
  if (value.empty()) return {};
  return value;
}

std::optional<double> number(const Exiv2::ExifData& exif, const char* key) {
  const auto* datum = find(exif, key);
  if (datum == nullptr) return {};
  const auto type = datum->typeId();
  double value = NAN;
  if (type == Exiv2::unsignedRational || type == Exiv2::signedRational) {
    const Exiv2::Rational fraction = datum->toRational();
    if (fraction.second != 0) value = static_cast<double>(fraction.first) / fraction.second;
  } else if (type == Exiv2::unsignedShort || type == Exiv2::unsignedLong) {
    value = static_cast<double>(datum->toLong());
  }
  if (!std::isfinite(value)) return {};
  return value;
}

std::optional<double> positive_number(const Exiv2::ExifData& exif, const char* key) {
  const auto value = number(exif, key);
  return value && *value > 0 ? value : std::nullopt;
}

// Three fractions: degrees, minutes, seconds.
std::optional<double> degrees(const Exiv2::ExifData& exif, const char* key) {
  const auto* datum = find(exif, key);
  if (datum == nullptr || datum->typeId() != Exiv2::unsignedRational || datum->count() != 3) {
    return {};
  }
  double sum = 0;
  double unit = 1;
  for (long i = 0; i < 3; ++i) {
    const Exiv2::Rational fraction = datum->toRational(i);
    // Unknown seconds are sometimes 0/0.
    if (fraction.second != 0) sum += unit * static_cast<double>(fraction.first) / fraction.second;
    unit /= 60;
  }
  return sum;
}

std::optional<Location> location_of(const Exiv2::ExifData& exif) {
  const auto latitude = degrees(exif, "Exif.GPSInfo.GPSLatitude");
  const auto longitude = degrees(exif, "Exif.GPSInfo.GPSLongitude");
  if (!latitude || !longitude || *latitude > 90 || *longitude > 180) return {};
  const bool south = text(exif, "Exif.GPSInfo.GPSLatitudeRef") == "S";
  const bool west = text(exif, "Exif.GPSInfo.GPSLongitudeRef") == "W";
  Location location{.latitude_deg = south ? -*latitude : *latitude,
                    .longitude_deg = west ? -*longitude : *longitude};
  location.altitude_m = number(exif, "Exif.GPSInfo.GPSAltitude");
  const auto* below = find(exif, "Exif.GPSInfo.GPSAltitudeRef");
  if (location.altitude_m && below != nullptr && below->toLong() == 1) {
    location.altitude_m = -*location.altitude_m;
  }
  return location;
}

FrameInfo info_of(const Exiv2::ExifData& exif) {
  FrameInfo info;
  info.taken_at = text(exif, "Exif.Photo.DateTimeOriginal");
  if (info.taken_at && !is_exif_date(*info.taken_at)) info.taken_at.reset();
  info.exposure_s = positive_number(exif, "Exif.Photo.ExposureTime");
  info.f_number = positive_number(exif, "Exif.Photo.FNumber");
  info.iso = positive_number(exif, "Exif.Photo.ISOSpeedRatings");
  info.exposure_bias_ev = number(exif, "Exif.Photo.ExposureBiasValue");
  info.focal_length_mm = positive_number(exif, "Exif.Photo.FocalLength");
  info.body_make = text(exif, "Exif.Image.Make");
  info.body_model = text(exif, "Exif.Image.Model");
  info.body_serial = text(exif, "Exif.Photo.BodySerialNumber");
  info.lens_model = text(exif, "Exif.Photo.LensModel");
  info.lens_serial = text(exif, "Exif.Photo.LensSerialNumber");
  info.location = location_of(exif);
  return info;
}

Exiv2::ExifData decode(std::span<const std::byte> block) {
  set_up_exiv2();
  Exiv2::ExifData exif;
  try {
    Exiv2::ExifParser::decode(exif, reinterpret_cast<const Exiv2::byte*>(block.data()),
                              static_cast<std::uint32_t>(block.size()));
  } catch (const std::exception&) {
    exif.clear();
  }
  return exif;
}

}  // namespace

FrameInfo read_exif(const std::filesystem::path& path) {
  set_up_exiv2();
  try {
    const auto image = Exiv2::ImageFactory::open(path.string());
    if (image.get() == nullptr) return {};
    image->readMetadata();
    return info_of(image->exifData());
  } catch (const std::exception&) {
    return {};
  }
}

FrameInfo parse_exif(std::span<const std::byte> block) {
  try {
    return info_of(decode(block));
  } catch (const std::exception&) {
    return {};
  }
}

int exif_orientation(std::span<const std::byte> block) {
  try {
    const Exiv2::ExifData exif = decode(block);
    const auto value = number(exif, "Exif.Image.Orientation");
    return value && *value >= 1 && *value <= 8 ? static_cast<int>(*value) : 1;
  } catch (const std::exception&) {
    return 1;
  }
}

}  // namespace seamwright
