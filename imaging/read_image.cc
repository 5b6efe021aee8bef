#include "imaging/read_image.h"

#include <new>

#include "base/file_guard.h"
#include "imaging/codecs.h"
#include "imaging/picture_error.h"
#include "imaging/raw_reader.h"

namespace seamwright {
namespace {

Error too_large(const std::filesystem::path& path) {
  return {.kind = ErrorKind::io,
          .where = path.string(),
          .field = {},
          .what = "does not fit into memory",
          .remedy = "close other programs or use a smaller picture"};
}

}  // namespace

Result<Image> read_image(const std::filesystem::path& path) try {
  const auto file = find_picture(path);
  if (!file) return tl::unexpected(file.error());
  note_read(path);
  switch (file->kind) {
    case PictureKind::tiff:
    case PictureKind::bigtiff:
      return read_tiff(*file);
    case PictureKind::png:
      return read_png(*file);
    case PictureKind::jpeg:
      return read_jpeg(*file);
    case PictureKind::raw:
      return read_raw(*file);
  }
  return fail(broken_picture(path, {}));
} catch (const std::bad_alloc&) {
  return fail(too_large(path));
}

Result<ImageHeader> read_image_header(const std::filesystem::path& path) try {
  const auto file = find_picture(path);
  if (!file) return tl::unexpected(file.error());
  switch (file->kind) {
    case PictureKind::tiff:
    case PictureKind::bigtiff:
      return read_tiff_header(*file);
    case PictureKind::png:
      return read_png_header(*file);
    case PictureKind::jpeg:
      return read_jpeg_header(*file);
    case PictureKind::raw:
      return read_raw_header(*file);
  }
  return fail(broken_picture(path, {}));
} catch (const std::bad_alloc&) {
  return fail(too_large(path));
}

}  // namespace seamwright
