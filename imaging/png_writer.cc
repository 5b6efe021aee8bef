#include <array>
#include <bit>
#include <csetjmp>
#include <cstdio>
#include <string>
#include <utility>
#include <vector>

#include <png.h>

#include "base/file.h"
#include "imaging/c_file.h"
#include "imaging/codecs.h"
#include "imaging/exif_writer.h"
#include "imaging/icc.h"
#include "imaging/picture_error.h"

namespace seamwright {
namespace {

// All that goes into the file, in plain memory.
struct Content {
  const Image* image = nullptr;
  std::string exif;
  std::string xmp;
  std::vector<std::byte> icc_profile;
  std::vector<png_bytep> rows;
};

Content content_of(const Image& image, const WriteOptions& options) {
  Content content;
  content.image = &image;
  if (options.info) content.exif = exif_block(*options.info);
  content.xmp = options.xmp;
  content.icc_profile = icc_profile_to_write(image);
  content.rows.resize(static_cast<std::size_t>(image.height()));
  for (std::size_t y = 0; y < content.rows.size(); ++y) {
    // The library's type is not const, though it only reads.
    auto* row = const_cast<std::byte*>(image.bytes().data() + y * image.row_bytes());
    content.rows[y] = reinterpret_cast<png_bytep>(row);
  }
  return content;
}

int colour_type(Channels channels) {
  switch (channels) {
    case Channels::grey:
      return PNG_COLOR_TYPE_GRAY;
    case Channels::grey_alpha:
      return PNG_COLOR_TYPE_GRAY_ALPHA;
    case Channels::rgb:
      return PNG_COLOR_TYPE_RGB;
    case Channels::rgba:
      return PNG_COLOR_TYPE_RGB_ALPHA;
  }
  return PNG_COLOR_TYPE_RGB;
}

// libpng leaves a failed call by longjmp; see png_reader.cc.
struct Failure {
  std::jmp_buf jump;
  std::array<char, 200> message = {};
};

[[noreturn]] void fail_writing(png_structp png, png_const_charp text) {
  auto& failure = *static_cast<Failure*>(png_get_error_ptr(png));
  std::snprintf(failure.message.data(), failure.message.size(), "%s", text);
  std::longjmp(failure.jump, 1);
}

void drop_warning(png_structp, png_const_charp) {}

class PngOut {
 public:
  PngOut() {
    png_ = png_create_write_struct(PNG_LIBPNG_VER_STRING, &failure_, fail_writing, drop_warning);
    info_ = png_create_info_struct(png_);
  }
  ~PngOut() { png_destroy_write_struct(&png_, &info_); }
  PngOut(const PngOut&) = delete;
  PngOut& operator=(const PngOut&) = delete;

  bool write(const Content& content, std::FILE* to) {
    if (setjmp(failure_.jump) != 0) return false;
    constexpr int kFastCompression = 3;  // 16-bit pictures hardly shrink further
    png_set_benign_errors(png_, 0);      // a profile is written or it is an error
    png_init_io(png_, to);
    png_set_compression_level(png_, kFastCompression);
    const Image& image = *content.image;
    png_set_IHDR(png_, info_, static_cast<png_uint_32>(image.width()),
                 static_cast<png_uint_32>(image.height()),
                 static_cast<int>(8 * bytes_per_sample(image.type())),
                 colour_type(image.channels()), PNG_INTERLACE_NONE, PNG_COMPRESSION_TYPE_DEFAULT,
                 PNG_FILTER_TYPE_DEFAULT);
    set_colour(content);
    set_metadata(content);
    png_write_info(png_, info_);
    if (std::endian::native == std::endian::little) png_set_swap(png_);
    png_write_image(png_, const_cast<png_bytepp>(content.rows.data()));
    png_write_end(png_, info_);
    return true;
  }

  [[nodiscard]] std::string message() const { return failure_.message.data(); }

 private:
  void set_colour(const Content& content) {
    if (content.icc_profile.empty()) {
      png_set_sRGB(png_, info_, PNG_sRGB_INTENT_PERCEPTUAL);
      return;
    }
    png_set_iCCP(png_, info_, "profile", PNG_COMPRESSION_TYPE_BASE,
                 reinterpret_cast<png_const_bytep>(content.icc_profile.data()),
                 static_cast<png_uint_32>(content.icc_profile.size()));
  }

  void set_metadata(const Content& content) {
    if (!content.exif.empty()) {
      auto* bytes = const_cast<char*>(content.exif.data());  // copied, not altered
      png_set_eXIf_1(png_, info_, static_cast<png_uint_32>(content.exif.size()),
                     reinterpret_cast<png_bytep>(bytes));
    }
    if (!content.xmp.empty()) {
      char key[] = "XML:com.adobe.xmp";  // XMP specification part 3, 1.1.5
      char none[] = "";
      png_text text = {};
      text.compression = PNG_ITXT_COMPRESSION_NONE;
      text.key = key;
      text.text = const_cast<char*>(content.xmp.c_str());
      text.itxt_length = content.xmp.size();
      text.lang = none;
      text.lang_key = none;
      png_set_text(png_, info_, &text, 1);
    }
  }

  Failure failure_;
  png_structp png_ = nullptr;
  png_infop info_ = nullptr;
};

}  // namespace

Result<void> write_png(const std::filesystem::path& path, const Image& image,
                       const WriteOptions& options) {
  auto pending = PendingFile::create(path);
  if (!pending) return tl::unexpected(pending.error());
  CFile file = open_c_file(pending->temporary(), "wb");
  if (!file) return fail(write_failure(path, {}));
  const Content content = content_of(image, options);
  PngOut out;
  if (!out.write(content, file.get())) return fail(write_failure(path, out.message()));
  if (!close_c_file(std::move(file))) return fail(write_failure(path, {}));
  return pending->commit();
}

}  // namespace seamwright
