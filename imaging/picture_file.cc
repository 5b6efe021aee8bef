#include "imaging/picture_file.h"

#include <array>
#include <fstream>
#include <optional>
#include <string_view>
#include <system_error>

#include "imaging/picture_error.h"
#include "imaging/raw_reader.h"

namespace seamwright {
namespace {

Error unreadable(const std::filesystem::path& path, std::string what) {
  return {.kind = ErrorKind::io,
          .where = path.string(),
          .field = {},
          .what = std::move(what),
          .remedy = "check the path and its permissions"};
}

// Magic numbers: TIFF 6.0 section 2, the BigTIFF design (43 for 42), PNG (ISO/IEC 15948, 5.2),
// JPEG (ITU-T T.81, B.1.1.3: SOI and the next marker's first byte).
std::optional<PictureKind> kind_of(std::string_view start) {
  using std::string_view_literals::operator""sv;
  if (start.starts_with("II*\0"sv) || start.starts_with("MM\0*"sv)) return PictureKind::tiff;
  if (start.starts_with("II+\0"sv) || start.starts_with("MM\0+"sv)) return PictureKind::bigtiff;
  if (start.starts_with("\x89PNG\r\n\x1A\n"sv)) return PictureKind::png;
  if (start.starts_with("\xFF\xD8\xFF"sv)) return PictureKind::jpeg;
  return {};
}

}  // namespace

Result<PictureFile> find_picture(const std::filesystem::path& path) {
  std::error_code code;
  if (!std::filesystem::exists(path, code)) return fail(unreadable(path, "no such file"));
  if (!std::filesystem::is_regular_file(path, code)) {
    return fail(unreadable(path, "is not a file"));
  }
  const std::uint64_t bytes = std::filesystem::file_size(path, code);
  std::ifstream in(path, std::ios::binary);
  if (code || !in) {
    return fail(unreadable_picture(path));
  }
  std::array<char, 8> start{};
  in.read(start.data(), start.size());
  auto kind = kind_of({start.data(), static_cast<std::size_t>(in.gcount())});
  // Many raw files begin like a TIFF.
  const bool may_be_raw = !kind || kind == PictureKind::tiff;
  if (may_be_raw && bytes > 0 && is_raw_file(path)) kind = PictureKind::raw;
  if (!kind) {
    return fail(unsupported_picture(
        path, bytes == 0 ? "is empty" : "is not a TIFF, PNG, JPEG or raw picture",
        "give a TIFF, PNG, JPEG or raw picture"));
  }
  return PictureFile{path, bytes, *kind};
}

}  // namespace seamwright
