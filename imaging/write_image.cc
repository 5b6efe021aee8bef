#include "imaging/write_image.h"

#include <algorithm>

#include "base/lower_suffix.h"
#include "imaging/codecs.h"
#include "imaging/convert.h"
#include "imaging/icc.h"
#include "imaging/picture_error.h"

namespace seamwright {
namespace {

Result<void> write_tiff(const std::filesystem::path& path, const Image& image,
                        const WriteOptions& options) {
  auto writer = TiffStripWriter::create(path, {.width = image.width(),
                                               .height = image.height(),
                                               .channels = image.channels(),
                                               .type = image.type(),
                                               .compression = options.tiff_compression,
                                               .bigtiff = options.bigtiff,
                                               .icc_profile = icc_profile_to_write(image),
                                               .xmp = options.xmp,
                                               .info = options.info});
  if (!writer) return tl::unexpected(writer.error());
  if (auto ok = writer->write_rows(0, image.bytes()); !ok) return ok;
  return writer->finish();
}

Result<void> write_png_checked(const std::filesystem::path& path, const Image& image,
                               const WriteOptions& options) {
  if (image.type() == SampleType::f32) {
    return fail(unsupported_picture(path, "float pixels do not fit into a PNG",
                                    "write .tif, or convert to 16 bits first"));
  }
  return write_png(path, image, options);
}

Result<void> write_jpeg_checked(const std::filesystem::path& path, const Image& image,
                                const WriteOptions& options) {
  if (has_alpha(image.channels())) {
    return fail(unsupported_picture(path, "alpha does not fit into a JPEG",
                                    "write .tif or .png, or drop the alpha channel"));
  }
  if (options.jpeg_quality < 1 || options.jpeg_quality > 100) {
    return fail({.kind = ErrorKind::user_input,
                 .where = path.string(),
                 .field = "JPEG quality",
                 .what = std::to_string(options.jpeg_quality) + " is not in 1…100",
                 .remedy = "give a quality from 1 to 100"});
  }
  if (image.type() == SampleType::u8) return write_jpeg(path, image, options);
  // The meaning of the code values stays: what floats take for granted must be said for bytes.
  Image bytes = to_type(image, SampleType::u8);
  return write_jpeg(path, bytes, options);
}

}  // namespace

Result<void> write_image(const std::filesystem::path& path, const Image& image,
                         const WriteOptions& options) {
  if (image.empty()) {
    return fail(unsupported_picture(path, "there is no picture to write", {}));
  }
  const std::string suffix = lower_suffix(path);
  if (suffix == ".tif" || suffix == ".tiff") return write_tiff(path, image, options);
  if (suffix == ".png") return write_png_checked(path, image, options);
  if (suffix == ".jpg" || suffix == ".jpeg") return write_jpeg_checked(path, image, options);
  if (suffix == ".exr") return write_exr(path, image, options);
  return fail(unsupported_picture(
      path, suffix.empty() ? "has no suffix" : "has the unknown suffix " + suffix,
      "end the name in .tif, .png, .jpg or .exr"));
}

}  // namespace seamwright
