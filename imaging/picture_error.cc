#include "imaging/picture_error.h"

#include <cerrno>
#include <cstring>
#include <utility>

#include <fmt/format.h>

namespace seamwright {

Error broken_picture(const std::filesystem::path& path, const std::string& detail) {
  return {.kind = ErrorKind::user_input,
          .where = path.string(),
          .field = {},
          .what = "is damaged or cut short" + (detail.empty() ? "" : " (" + detail + ")"),
          .remedy = "copy or export the file again"};
}

Error unsupported_picture(const std::filesystem::path& path, std::string what, std::string remedy) {
  return {.kind = ErrorKind::user_input,
          .where = path.string(),
          .field = {},
          .what = std::move(what),
          .remedy = std::move(remedy)};
}

Error unreadable_picture(const std::filesystem::path& path) {
  return {.kind = ErrorKind::io,
          .where = path.string(),
          .field = {},
          .what = std::string("cannot be read: ") + std::strerror(errno),
          .remedy = "check the path and its permissions"};
}

Error write_failure(const std::filesystem::path& path, const std::string& detail) {
  return {.kind = ErrorKind::io,
          .where = path.string(),
          .field = {},
          .what = "cannot be written" + (detail.empty() ? "" : " (" + detail + ")"),
          .remedy = "check free space and the disk's health"};
}

Result<void> check_picture_size(const std::filesystem::path& path, std::uint64_t width,
                                std::uint64_t height, std::uint64_t pixel_bits,
                                std::uint64_t file_bytes, std::uint64_t most_expansion) {
  constexpr std::uint64_t kMostSide = 1'000'000;
  if (width == 0 || height == 0 || width > kMostSide || height > kMostSide) {
    return fail(broken_picture(path, fmt::format("claims to be {} × {} pixels", width, height)));
  }
  const std::uint64_t needed = width * height / 8 * pixel_bits;
  if (needed / most_expansion > file_bytes) {
    return fail(
        broken_picture(path, fmt::format("claims {} × {} pixels, more than its {} bytes can hold",
                                         width, height, file_bytes)));
  }
  return {};
}

}  // namespace seamwright
