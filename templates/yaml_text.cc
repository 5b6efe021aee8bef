#include "templates/yaml_text.h"

#include <charconv>
#include <cmath>

#include <fmt/format.h>

namespace seamwright {

std::string number_text(double value) { return fmt::format("{}", value); }

std::string degrees_text(double value_rad) {
  const double nearest = deg_from_rad(value_rad);
  for (int digits = 1; digits <= 17; ++digits) {
    const std::string text = fmt::format("{:.{}g}", nearest, digits);
    double degrees = 0;
    std::from_chars(text.data(), text.data() + text.size(), degrees);
    if (rad_from_deg(degrees) == value_rad) return number_text(degrees);
  }
  for (const double towards : {0.0, 2.0 * nearest}) {
    const double neighbour = std::nextafter(nearest, towards);
    if (rad_from_deg(neighbour) == value_rad) return number_text(neighbour);
  }
  return number_text(nearest);
}

std::string numbers_text(const std::vector<double>& values) {
  std::string text = "[";
  for (const double value : values) {
    if (text.size() > 1) text += ", ";
    text += number_text(value);
  }
  return text + "]";
}

std::string vector_text(const Vec3& value) {
  return numbers_text({value.x(), value.y(), value.z()});
}

std::string quoted_text(std::string_view text) {
  std::string quoted = "\"";
  for (const char c : text) {
    if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f) {
      quoted += fmt::format("\\x{:02x}", c);
      continue;
    }
    if (c == '"' || c == '\\') quoted += '\\';
    quoted += c;
  }
  return quoted + "\"";
}

}  // namespace seamwright
