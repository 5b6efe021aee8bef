#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace seamwright {

/// True for "YYYY:MM:DD HH:MM:SS" in digits, the form of EXIF dates.
[[nodiscard]] inline bool is_exif_date(std::string_view text) {
  constexpr std::string_view kForm = "0000:00:00 00:00:00";
  if (text.size() != kForm.size()) return false;
  for (std::size_t i = 0; i < kForm.size(); ++i) {
    const bool digit = text[i] >= '0' && text[i] <= '9';
    if (kForm[i] == '0' ? !digit : text[i] != kForm[i]) return false;
  }
  return true;
}

/// "YYYY-MM-DDTHH:MM:SS" (ISO 8601, as XMP wants it) of an EXIF date.
[[nodiscard]] inline std::string iso_date(std::string_view exif_date) {
  std::string iso(exif_date);
  iso[4] = iso[7] = '-';
  iso[10] = 'T';
  return iso;
}

}  // namespace seamwright
