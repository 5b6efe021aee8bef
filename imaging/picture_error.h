#pragma once

// Errors and sanity limits shared by the readers and writers of picture files.

#include <cstdint>
#include <filesystem>
#include <string>

#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

/// The file's content is damaged; `detail` is a library's own words or ours.
[[nodiscard]] Error broken_picture(const std::filesystem::path& path, const std::string& detail);

/// The file is sound but of a kind that is not read.
[[nodiscard]] Error unsupported_picture(const std::filesystem::path& path, std::string what,
                                        std::string remedy);

/// The file cannot be opened or read, as the system says in errno.
[[nodiscard]] Error unreadable_picture(const std::filesystem::path& path);

/// Writing failed; `detail` as above, may be empty.
[[nodiscard]] Error write_failure(const std::filesystem::path& path, const std::string& detail);

/// Refuses a picture that cannot be real: without pixels, a side above a million, or pixels of
/// `pixel_bits`, as stored, that `file_bytes` × `most_expansion` cannot decompress to. One that is
/// merely large passes here; picture_limit.h decides about it.
[[nodiscard]] Result<void> check_picture_size(const std::filesystem::path& path,
                                              std::uint64_t width, std::uint64_t height,
                                              std::uint64_t pixel_bits, std::uint64_t file_bytes,
                                              std::uint64_t most_expansion);

/// Above what deflate (1032), LZW (about 1400) and JPEG reach.
inline constexpr std::uint64_t kMostExpansion = 2048;

}  // namespace seamwright
