#pragma once

// Changes to bytes that find their way into a reader: wrong numbers where sizes stand, pieces lost,
// doubled, or taken from another file.

#include <algorithm>
#include <array>
#include <cstdint>
#include <cstdlib>
#include <limits>
#include <string>
#include <string_view>
#include <vector>

#include "tests/imaging/giants.h"
#include "tests/support/random.h"

namespace seamwright::test {

/// How many changed files are made of each one: SEAMWRIGHT_FUZZ_ROUNDS, or `usual`.
[[nodiscard]] inline int fuzz_rounds(int usual) {
  const char* given = std::getenv("SEAMWRIGHT_FUZZ_ROUNDS");
  const int rounds = given == nullptr ? usual : std::atoi(given);
  return rounds > 0 ? rounds : usual;
}

namespace detail {

[[nodiscard]] inline std::uint64_t telling_number(Random& random) {
  constexpr std::array<std::uint64_t, 18> kNumbers = {
      0,          1,          2,
      3,          7,          8,
      16,         0x7F,       0x80,
      0xFF,       0x7FFF,     0x8000,
      0xFFFF,     0x10000,    0x7FFFFFFF,
      0x80000000, 0xFFFFFFFF, std::numeric_limits<std::uint64_t>::max()};
  const std::uint64_t number = kNumbers[random.bits() % kNumbers.size()];
  return random.chance(0.2) ? number - 1 : number;
}

/// More often near the start and the end, where most formats say what they hold.
[[nodiscard]] inline std::size_t telling_place(Random& random, std::size_t size) {
  const auto last = static_cast<int>(size) - 1;
  if (random.chance(0.4)) return static_cast<std::size_t>(random.integer(0, std::min(400, last)));
  if (random.chance(0.3)) {
    return static_cast<std::size_t>(random.integer(std::max(0, last - 400), last));
  }
  return static_cast<std::size_t>(random.integer(0, last));
}

inline void put_number(Random& random, std::string& bytes, std::size_t at) {
  const std::size_t width = std::size_t{1} << static_cast<unsigned>(random.integer(0, 3));
  const std::uint64_t number = telling_number(random);
  const bool big = random.chance(0.5);
  for (std::size_t i = 0; i < width && at + i < bytes.size(); ++i) {
    bytes[at + i] = static_cast<char>((number >> (8 * (big ? width - 1 - i : i))) & 0xFFU);
  }
}

}  // namespace detail

/// One to eight changes.
[[nodiscard]] inline std::string mutated_bytes(Random& random, std::string bytes,
                                               const std::string& other) {
  const int edits = random.integer(1, 8);
  for (int i = 0; i < edits && !bytes.empty(); ++i) {
    const std::size_t at = detail::telling_place(random, bytes.size());
    const auto length = static_cast<std::size_t>(random.integer(1, 64));
    switch (random.integer(0, 7)) {
      case 0:
      case 1:
        bytes[at] = static_cast<char>(random.bits());
        break;
      case 2:
      case 3:
        detail::put_number(random, bytes, at);
        break;
      case 4:
        bytes[at] = static_cast<char>(bytes[at] ^ (1 << random.integer(0, 7)));
        break;
      case 5:
        bytes.erase(at, length);
        break;
      case 6:
        bytes.insert(at, bytes.substr(detail::telling_place(random, bytes.size()), length));
        break;
      default:
        if (random.chance(0.3)) {
          bytes.resize(at);
        } else if (!other.empty()) {
          const std::size_t from = detail::telling_place(random, other.size());
          bytes.replace(at, length, other.substr(from, length));
        }
        break;
    }
  }
  return bytes;
}

/// One to three changes of a text as a hand makes them: a sign that is wrong, missing or too much.
[[nodiscard]] inline std::string mistyped(Random& random, std::string text) {
  constexpr std::string_view kSigns = "0123456789+-.,:;eE \t\"'()[]{}#ax_=";
  for (int edits = random.integer(1, 3); edits > 0 && !text.empty(); --edits) {
    const auto at = static_cast<std::size_t>(random.integer(0, static_cast<int>(text.size()) - 1));
    const char sign = kSigns[random.bits() % kSigns.size()];
    switch (random.integer(0, 2)) {
      case 0:
        text[at] = sign;
        break;
      case 1:
        text.erase(at, 1);
        break;
      default:
        text.insert(at, 1, sign);
        break;
    }
  }
  return text;
}

/// What a kept text becomes: itself in round 0, then mistyped and broken in turn.
[[nodiscard]] inline std::string changed_text(Random& random, const std::string& sound,
                                              const std::string& other, int round) {
  if (round == 0) return sound;
  return round % 2 == 1 ? mistyped(random, sound) : mutated_bytes(random, sound, other);
}

/// The chunks' checksums made right again: without that a PNG reader looks no further.
[[nodiscard]] inline std::string with_png_checksums(std::string bytes) {
  for (std::size_t at = 8; at + 12 <= bytes.size();) {
    std::uint64_t length = 0;
    for (std::size_t i = 0; i < 4; ++i) {
      length = length << 8U | static_cast<unsigned char>(bytes[at + i]);
    }
    if (length > bytes.size() - at - 12) break;
    const std::uint32_t crc = png_checksum(std::string_view(bytes).substr(at + 4, 4 + length));
    bytes.replace(at + 8 + length, 4, big_endian(crc, 4));
    at += 12 + length;
  }
  return bytes;
}

}  // namespace seamwright::test
