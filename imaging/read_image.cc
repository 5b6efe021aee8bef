#include "imaging/read_image.h"

#include <new>

#include "base/file_guard.h"
#include "imaging/codecs.h"
#include "imaging/picture_error.h"
#include "imaging/picture_limit.h"
#include "imaging/raw_reader.h"
#include "imaging/sample_check.h"

namespace seamwright {
namespace {

Error too_large(const std::filesystem::path& path) {
  return {.kind = ErrorKind::io,
          .where = path.string(),
          .field = {},
          .what = "does not fit into memory",
          .remedy = "close other programs or use a smaller picture"};
}

Result<ImageHeader> header_of(const PictureFile& file) {
  switch (file.kind) {
    case PictureKind::tiff:
    case PictureKind::bigtiff:
      return read_tiff_header(file);
    case PictureKind::png:
      return read_png_header(file);
    case PictureKind::jpeg:
      return read_jpeg_header(file);
    case PictureKind::raw:
      return read_raw_header(file);
  }
  return fail(broken_picture(file.path, {}));
}

Result<Image> pixels_of(const PictureFile& file) {
  switch (file.kind) {
    case PictureKind::tiff:
    case PictureKind::bigtiff:
      return read_tiff(file);
    case PictureKind::png:
      return read_png(file);
    case PictureKind::jpeg:
      return read_jpeg(file);
    case PictureKind::raw:
      return read_raw(file);
  }
  return fail(broken_picture(file.path, {}));
}

// What no picture may be, whatever its format, before memory is taken for its pixels.
Result<void> check_header(const PictureFile& file) {
  const auto header = header_of(file);
  if (!header) return tl::unexpected(header.error());
  const std::uint64_t samples =
      static_cast<std::uint64_t>(channel_count(header->channels)) * bytes_per_sample(header->type);
  return check_picture_limit(file.path, static_cast<std::uint64_t>(header->width),
                             static_cast<std::uint64_t>(header->height),
                             samples + static_cast<std::uint64_t>(header->decoder_bytes_per_pixel));
}

}  // namespace

Result<Image> read_image(const std::filesystem::path& path) try {
  const auto file = find_picture(path);
  if (!file) return tl::unexpected(file.error());
  note_read(path);
  if (auto ok = check_header(*file); !ok) return tl::unexpected(ok.error());
  auto image = pixels_of(*file);
  if (!image) return image;
  if (auto ok = check_samples(path, *image); !ok) return tl::unexpected(ok.error());
  image->file = path.string();
  return image;
} catch (const std::bad_alloc&) {
  return fail(too_large(path));
}

Result<ImageHeader> read_image_header(const std::filesystem::path& path) try {
  const auto file = find_picture(path);
  if (!file) return tl::unexpected(file.error());
  return header_of(*file);
} catch (const std::bad_alloc&) {
  return fail(too_large(path));
}

}  // namespace seamwright
