#pragma once

// Bytes that may be anything, such as a file's name on a foreign disk, as text that may be printed
// and written into JSON and XML: valid UTF-8 without control characters.

#include <cstddef>
#include <string>
#include <string_view>

namespace seamwright {

/// Where the first byte that is no UTF-8 (RFC 3629) stands; npos where all of it is.
[[nodiscard]] std::size_t find_broken_utf8(std::string_view text);

/// Bytes that are not UTF-8, control characters, marks that change the direction of
/// writing, and what XML 1.0 does not take stand as \xHH, byte by byte; a backslash that would read
/// as such stands as \x5C. Anything else is as it was. `bytes_of_readable` gives the bytes back.
[[nodiscard]] std::string readable_text(std::string_view bytes);

/// What readable_text was made of.
[[nodiscard]] std::string bytes_of_readable(std::string_view text);

/// The same for a terminal: line ends and every backslash stay, so it cannot be taken back.
[[nodiscard]] std::string printable_text(std::string_view text);

}  // namespace seamwright
