#include <algorithm>
#include <cassert>
#include <csetjmp>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include <jpeglib.h>

#include "base/file.h"
#include "imaging/c_file.h"
#include "imaging/codecs.h"
#include "imaging/exif_writer.h"
#include "imaging/icc.h"
#include "imaging/jpeg_errors.h"
#include "imaging/picture_error.h"

namespace seamwright {
namespace {

// Payload of one marker segment: 16 bits of length, which count themselves (ITU-T T.81, B.1.1.4).
constexpr std::size_t kMostMarkerBytes = 65533;
constexpr int kApp1 = JPEG_APP0 + 1;

// All that goes into the file, in plain memory.
struct Content {
  const Image* image = nullptr;
  int quality = 0;
  std::string exif;
  std::string xmp;
  std::vector<std::byte> icc_profile;
  std::vector<JSAMPROW> rows;
};

Content content_of(const Image& image, const WriteOptions& options) {
  using std::string_literals::operator""s;
  Content content;
  content.image = &image;
  content.quality = options.jpeg_quality;
  if (options.info) content.exif = "Exif\0\0"s + exif_block(*options.info);
  // XMP specification part 3, 1.1.3.
  if (!options.xmp.empty()) content.xmp = "http://ns.adobe.com/xap/1.0/\0"s + options.xmp;
  content.icc_profile = icc_profile_to_write(image);
  content.rows.resize(static_cast<std::size_t>(image.height()));
  for (std::size_t y = 0; y < content.rows.size(); ++y) {
    // The library's type is not const, though it only reads.
    auto* row = const_cast<std::byte*>(image.bytes().data() + y * image.row_bytes());
    content.rows[y] = reinterpret_cast<JSAMPROW>(row);
  }
  return content;
}

// Where the library puts a file that goes nowhere else.
struct JpegMemory {
  unsigned char* bytes = nullptr;
  unsigned long size = 0;  // NOLINT(google-runtime-int): the library's type

  JpegMemory() = default;
  ~JpegMemory() { std::free(bytes); }
  JpegMemory(const JpegMemory&) = delete;
  JpegMemory& operator=(const JpegMemory&) = delete;
};

class JpegOut {
 public:
  JpegOut() {
    jpeg_.err = errors_.manager();
    jpeg_create_compress(&jpeg_);
  }
  ~JpegOut() { jpeg_destroy_compress(&jpeg_); }
  JpegOut(const JpegOut&) = delete;
  JpegOut& operator=(const JpegOut&) = delete;

  bool write(const Content& content, std::FILE* to) {
    if (setjmp(errors_.on_failure) != 0) return false;
    jpeg_stdio_dest(&jpeg_, to);
    write(content);
    return true;
  }
  bool write(const Content& content, JpegMemory& to) {
    if (setjmp(errors_.on_failure) != 0) return false;
    jpeg_mem_dest(&jpeg_, &to.bytes, &to.size);
    write(content);
    return true;
  }

  [[nodiscard]] std::string message() const { return errors_.text.data(); }

 private:
  void write(const Content& content) {
    set_parameters(*content.image, content.quality);
    jpeg_start_compress(&jpeg_, TRUE);
    write_marker(content.exif);
    write_marker(content.xmp);
    if (!content.icc_profile.empty()) {
      jpeg_write_icc_profile(&jpeg_, reinterpret_cast<const JOCTET*>(content.icc_profile.data()),
                             static_cast<unsigned>(content.icc_profile.size()));
    }
    while (jpeg_.next_scanline < jpeg_.image_height) {
      jpeg_write_scanlines(&jpeg_, const_cast<JSAMPARRAY>(&content.rows[jpeg_.next_scanline]), 1);
    }
    jpeg_finish_compress(&jpeg_);
  }

  void set_parameters(const Image& image, int quality) {
    constexpr int kFullColourQuality = 90;
    jpeg_.image_width = static_cast<JDIMENSION>(image.width());
    jpeg_.image_height = static_cast<JDIMENSION>(image.height());
    jpeg_.input_components = image.channel_count();
    jpeg_.in_color_space = image.channels() == Channels::grey ? JCS_GRAYSCALE : JCS_RGB;
    jpeg_set_defaults(&jpeg_);
    jpeg_set_quality(&jpeg_, quality, TRUE);
    jpeg_.optimize_coding = TRUE;
    if (quality >= kFullColourQuality) {
      jpeg_.comp_info[0].h_samp_factor = 1;
      jpeg_.comp_info[0].v_samp_factor = 1;
    }
  }

  void write_marker(const std::string& payload) {
    if (payload.empty()) return;
    jpeg_write_marker(&jpeg_, kApp1, reinterpret_cast<const JOCTET*>(payload.data()),
                      static_cast<unsigned>(payload.size()));
  }

  JpegErrors errors_;
  jpeg_compress_struct jpeg_ = {};
};

}  // namespace

Result<void> write_jpeg(const std::filesystem::path& path, const Image& image,
                        const WriteOptions& options) {
  if (image.width() > JPEG_MAX_DIMENSION || image.height() > JPEG_MAX_DIMENSION) {
    return fail(unsupported_picture(path, "is too large for JPEG, which ends at 65500 pixels",
                                    "write TIFF or a smaller picture"));
  }
  const Content content = content_of(image, options);
  if (content.exif.size() > kMostMarkerBytes || content.xmp.size() > kMostMarkerBytes) {
    return fail(unsupported_picture(path, "has more metadata than a JPEG can hold",
                                    "write TIFF or shorten the metadata"));
  }
  auto pending = PendingFile::create(path);
  if (!pending) return tl::unexpected(pending.error());
  CFile file = open_c_file(pending->temporary(), "wb");
  if (!file) return fail(write_failure(path, {}));
  JpegOut out;
  if (!out.write(content, file.get())) return fail(write_failure(path, out.message()));
  if (!close_c_file(std::move(file))) return fail(write_failure(path, {}));
  return pending->commit();
}

std::string jpeg_bytes(const Image& picture, int quality) {
  assert(picture.type() == SampleType::u8 && !has_alpha(picture.channels()));
  assert(std::max(picture.width(), picture.height()) <= JPEG_MAX_DIMENSION);
  JpegMemory memory;
  JpegOut out;
  if (!out.write(content_of(picture, {.jpeg_quality = quality}), memory)) return {};
  return {reinterpret_cast<const char*>(memory.bytes), memory.size};
}

}  // namespace seamwright
