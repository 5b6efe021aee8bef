#include "imaging/exif_writer.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>
#include <vector>

#include "imaging/exif_date.h"

namespace seamwright {
namespace {

// TIFF 6.0 field types; 18 is IFD8 of BigTIFF.
enum class FieldType : std::uint16_t {
  u8 = 1,
  ascii = 2,
  u16 = 3,
  u32 = 4,
  rational = 5,
  undefined = 7,
  signed_rational = 10,
};

struct Field {
  std::uint16_t tag = 0;
  FieldType type = FieldType::ascii;
  std::uint64_t count = 0;
  std::string value;  // as stored
};

void append(std::string& out, std::uint64_t value, std::size_t size) {
  for (std::size_t i = 0; i < size; ++i) out += static_cast<char>((value >> (8 * i)) & 0xFFU);
}

// Fields in ascending order of tag, which the callers keep.
class FieldList {
 public:
  void add_text(std::uint16_t tag, const std::optional<std::string>& text) {
    if (!text || text->empty()) return;
    const std::string value = text->substr(0, text->find('\0')) + '\0';
    fields_.push_back({tag, FieldType::ascii, value.size(), value});
  }

  void add_undefined(std::uint16_t tag, std::string value) {
    const std::size_t count = value.size();
    fields_.push_back({tag, FieldType::undefined, count, std::move(value)});
  }

  void add_number(std::uint16_t tag, FieldType type, std::uint32_t number) {
    std::string value;
    append(value, number, type == FieldType::u16 ? 2 : 4);
    fields_.push_back({tag, type, 1, std::move(value)});
  }

  void add_fraction(std::uint16_t tag, const std::optional<double>& number, bool may_be_negative) {
    if (!number || !std::isfinite(*number) || std::abs(*number) >= 0x1p31) return;
    if (*number < 0 && !may_be_negative) return;
    Fraction fraction = simple_fraction(std::abs(*number));
    if (*number < 0) fraction.numerator = -fraction.numerator;
    std::string value;
    append(value, static_cast<std::uint64_t>(fraction.numerator), 4);
    append(value, static_cast<std::uint64_t>(fraction.denominator), 4);
    const auto type = may_be_negative ? FieldType::signed_rational : FieldType::rational;
    fields_.push_back({tag, type, 1, std::move(value)});
  }

  void add_degrees(std::uint16_t tag, double degrees) {
    // Whole degrees and minutes, seconds to the 10 000th: 3 mm.
    constexpr std::int64_t kParts = 10000;
    const std::int64_t total = std::llround(degrees * 3600 * kParts);
    std::string value;
    const auto add = [&value](std::int64_t number, std::int64_t denominator) {
      append(value, static_cast<std::uint64_t>(number), 4);
      append(value, static_cast<std::uint64_t>(denominator), 4);
    };
    add(total / (3600 * kParts), 1);
    add(total / (60 * kParts) % 60, 1);
    add(total % (60 * kParts), kParts);
    fields_.push_back({tag, FieldType::rational, 3, std::move(value)});
  }

  void add_bytes(std::uint16_t tag, std::string value) {
    const std::size_t count = value.size();
    fields_.push_back({tag, FieldType::u8, count, std::move(value)});
  }

  // The directory, then the values that do not fit into its entries, each at an even offset.
  [[nodiscard]] std::string directory(std::uint64_t offset, bool big) const {
    const std::size_t word = big ? 8 : 4;
    std::string out;
    append(out, fields_.size(), big ? 8 : 2);
    std::uint64_t values_at = offset + directory_bytes(big);
    std::string values;
    for (const Field& field : fields_) {
      append(out, field.tag, 2);
      append(out, static_cast<std::uint64_t>(field.type), 2);
      append(out, field.count, word);
      if (field.value.size() <= word) {
        out += field.value;
        out.append(word - field.value.size(), '\0');
      } else {
        append(out, values_at + values.size(), word);
        values += field.value;
        if (values.size() % 2 != 0) values += '\0';
      }
    }
    append(out, 0, word);  // no next directory
    return out + values;
  }

  [[nodiscard]] std::uint64_t directory_bytes(bool big) const {
    return big ? 8 + 20 * fields_.size() + 8 : 2 + 12 * fields_.size() + 4;
  }

 private:
  std::vector<Field> fields_;
};

FieldList exif_fields(const FrameInfo& info) {
  FieldList fields;
  fields.add_fraction(0x829A, info.exposure_s, false);
  fields.add_fraction(0x829D, info.f_number, false);
  if (info.iso && *info.iso >= 1 && *info.iso <= 65535) {
    fields.add_number(0x8827, FieldType::u16, static_cast<std::uint32_t>(std::lround(*info.iso)));
  }
  fields.add_undefined(0x9000, "0232");  // ExifVersion
  if (info.taken_at && is_exif_date(*info.taken_at)) fields.add_text(0x9003, info.taken_at);
  fields.add_fraction(0x9204, info.exposure_bias_ev, true);
  fields.add_fraction(0x920A, info.focal_length_mm, false);
  fields.add_text(0xA431, info.body_serial);
  fields.add_text(0xA434, info.lens_model);
  fields.add_text(0xA435, info.lens_serial);
  return fields;
}

bool is_valid(const std::optional<Location>& location) {
  return location && std::abs(location->latitude_deg) <= 90 &&
         std::abs(location->longitude_deg) <= 180;
}

FieldList gps_fields(const Location& location) {
  using std::string_literals::operator""s;
  FieldList fields;
  fields.add_bytes(0x0000, "\x02\x03\0\0"s);  // GPSVersionID
  fields.add_text(0x0001, location.latitude_deg < 0 ? "S"s : "N"s);
  fields.add_degrees(0x0002, std::abs(location.latitude_deg));
  fields.add_text(0x0003, location.longitude_deg < 0 ? "W"s : "E"s);
  fields.add_degrees(0x0004, std::abs(location.longitude_deg));
  if (location.altitude_m && std::isfinite(*location.altitude_m)) {
    fields.add_bytes(0x0005, *location.altitude_m < 0 ? "\1"s : "\0"s);
    fields.add_fraction(0x0006, std::abs(*location.altitude_m), false);
  }
  return fields;
}

FieldList main_fields(const FrameInfo& info, std::uint32_t exif_offset, std::uint32_t gps_offset) {
  FieldList fields;
  fields.add_text(0x010F, info.body_make);
  fields.add_text(0x0110, info.body_model);
  fields.add_text(0x0131, std::string("Seamwright"));
  fields.add_number(0x8769, FieldType::u32, exif_offset);
  if (is_valid(info.location)) fields.add_number(0x8825, FieldType::u32, gps_offset);
  return fields;
}

}  // namespace

std::string exif_directory(const FrameInfo& info, std::uint64_t offset, bool big) {
  return exif_fields(info).directory(offset, big);
}

std::string gps_directory(const FrameInfo& info, std::uint64_t offset, bool big) {
  return is_valid(info.location) ? gps_fields(*info.location).directory(offset, big)
                                 : std::string{};
}

std::string exif_block(const FrameInfo& info) {
  constexpr std::uint32_t kHeaderBytes = 8;
  std::string block = "II*";
  block += '\0';
  append(block, kHeaderBytes, 4);
  const std::size_t main_bytes = main_fields(info, 0, 0).directory(kHeaderBytes, false).size();
  const auto exif_offset = static_cast<std::uint32_t>(kHeaderBytes + main_bytes);
  const std::string exif = exif_directory(info, exif_offset, false);
  const auto gps_offset = static_cast<std::uint32_t>(exif_offset + exif.size());
  block += main_fields(info, exif_offset, gps_offset).directory(kHeaderBytes, false);
  return block + exif + gps_directory(info, gps_offset, false);
}

// Convergents of the continued fraction (Khinchin, Continued Fractions, §2), which are the best
// approximations for their size.
Fraction simple_fraction(double value) {
  constexpr double kWithin = 1e-9;
  constexpr double kLargest = 0x1p31 - 1;
  Fraction before{1, 0};
  Fraction best{static_cast<std::int64_t>(value), 1};
  double rest = value - std::floor(value);
  const auto error = [&] {
    return std::abs(value -
                    static_cast<double>(best.numerator) / static_cast<double>(best.denominator));
  };
  while (rest > 0 && error() > kWithin * value) {
    const double inverse = 1 / rest;
    const double term = std::floor(inverse);
    const double numerator =
        term * static_cast<double>(best.numerator) + static_cast<double>(before.numerator);
    const double denominator =
        term * static_cast<double>(best.denominator) + static_cast<double>(before.denominator);
    if (numerator > kLargest || denominator > kLargest) break;
    before = std::exchange(
        best, {static_cast<std::int64_t>(numerator), static_cast<std::int64_t>(denominator)});
    rest = inverse - term;
  }
  return best;
}

}  // namespace seamwright
