#include "base/readable_text.h"

#include <cstdint>
#include <optional>

namespace seamwright {

namespace {

constexpr std::string_view kDigits = "0123456789ABCDEF";
constexpr std::size_t kEscape = 4;  // \xHH

std::uint32_t byte_at(std::string_view text, std::size_t i) {
  return static_cast<unsigned char>(text[i]);
}

struct Character {
  std::uint32_t code = 0;
  std::size_t length = 0;  ///< bytes; 0: no UTF-8 begins here
};

// RFC 3629: no overlong forms, no surrogates, nothing beyond U+10FFFF.
Character character_at(std::string_view text, std::size_t i) {
  const std::uint32_t lead = byte_at(text, i);
  const std::size_t length = lead < 0x80   ? 1
                             : lead < 0xC2 ? 0
                             : lead < 0xE0 ? 2
                             : lead < 0xF0 ? 3
                             : lead < 0xF5 ? 4
                                           : 0;
  if (length == 0 || i + length > text.size()) return {};
  std::uint32_t code = length == 1 ? lead : lead & (0xFFU >> (length + 1));
  for (std::size_t j = 1; j < length; ++j) {
    const std::uint32_t next = byte_at(text, i + j);
    if ((next & 0xC0U) != 0x80U) return {};
    code = (code << 6U) | (next & 0x3FU);
  }
  const bool overlong = (length == 3 && code < 0x800) || (length == 4 && code < 0x10000);
  if (overlong || code > 0x10FFFF || (code >= 0xD800 && code <= 0xDFFF)) return {};
  return {code, length};
}

bool may_stand(std::uint32_t code) {
  const bool control = code < 0x20 || (code >= 0x7F && code < 0xA0);
  const bool turns_writing =
      (code >= 0x202A && code <= 0x202E) || (code >= 0x2066 && code <= 0x2069);
  const bool no_character = code == 0xFFFE || code == 0xFFFF;
  return !control && !turns_writing && !no_character;
}

void add_escaped(std::string& out, std::string_view bytes) {
  for (const char c : bytes) {
    const auto byte = static_cast<unsigned char>(c);
    out += "\\x";
    out += kDigits[byte >> 4U];
    out += kDigits[byte & 0xFU];
  }
}

std::optional<char> escape_at(std::string_view text, std::size_t i) {
  if (i + kEscape > text.size() || text[i] != '\\' || text[i + 1] != 'x') return std::nullopt;
  const std::size_t high = kDigits.find(text[i + 2]);
  const std::size_t low = kDigits.find(text[i + 3]);
  if (high == std::string_view::npos || low == std::string_view::npos) return std::nullopt;
  return static_cast<char>(16 * high + low);
}

std::string escaped(std::string_view bytes, bool for_terminal) {
  std::string out;
  for (std::size_t i = 0; i < bytes.size();) {
    const Character character = character_at(bytes, i);
    const std::size_t length = character.length == 0 ? 1 : character.length;
    const bool stands = character.length > 0 && may_stand(character.code);
    const bool misread = !for_terminal && escape_at(bytes, i).has_value();
    if ((stands && !misread) || (for_terminal && bytes[i] == '\n')) {
      out += bytes.substr(i, length);
    } else {
      add_escaped(out, bytes.substr(i, length));
    }
    i += length;
  }
  return out;
}

}  // namespace

std::size_t find_broken_utf8(std::string_view text) {
  for (std::size_t i = 0; i < text.size();) {
    const std::size_t length = character_at(text, i).length;
    if (length == 0) return i;
    i += length;
  }
  return std::string_view::npos;
}

std::string readable_text(std::string_view bytes) { return escaped(bytes, false); }

std::string bytes_of_readable(std::string_view text) {
  std::string bytes;
  for (std::size_t i = 0; i < text.size();) {
    const auto escape = escape_at(text, i);
    bytes += escape.value_or(text[i]);
    i += escape ? kEscape : 1;
  }
  return bytes;
}

std::string printable_text(std::string_view text) { return escaped(text, true); }

}  // namespace seamwright
