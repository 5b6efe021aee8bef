#include <array>
#include <bit>
#include <csetjmp>
#include <cstdio>
#include <cstring>
#include <memory>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <png.h>

#include "imaging/c_file.h"
#include "imaging/codecs.h"
#include "imaging/exif_reader.h"
#include "imaging/icc.h"
#include "imaging/orient.h"
#include "imaging/picture_error.h"

namespace seamwright {
namespace {

constexpr png_uint_32 kMostSide = 1'000'000;

// libpng leaves a failed call by longjmp. Every call that may fail therefore sits in a small
// function of C code only, entered through setjmp, with nothing to destroy between the two.
struct Source {
  std::jmp_buf on_failure;
  std::array<char, 200> message = {};
  CFile file;
};

[[noreturn]] void fail_reading(png_structp png, png_const_charp text) {
  auto& source = *static_cast<Source*>(png_get_error_ptr(png));
  std::snprintf(source.message.data(), source.message.size(), "%s", text);
  std::longjmp(source.on_failure, 1);
}

void ignore_warning(png_structp, png_const_charp) {}

void take_bytes(png_structp png, png_bytep to, std::size_t count) {
  auto& source = *static_cast<Source*>(png_get_io_ptr(png));
  if (std::fread(to, 1, count, source.file.get()) != count) png_error(png, "ends too early");
}

// Whether every chunk but those of pixels ends within the file (ISO/IEC 15948, 5.3): libpng takes
// the memory that a profile or a text claims to need before it reads it.
bool chunks_fit(std::FILE* file) {
  constexpr std::size_t kHead = 8;  // a length and a name; also of the signature
  constexpr ::off_t kAround = 12;   // these, and a checksum
  if (::fseeko(file, 0, SEEK_END) != 0) return false;
  const ::off_t size = ::ftello(file);
  bool fit = true;
  std::array<unsigned char, kHead> head{};
  for (::off_t at = kHead; fit && at + static_cast<::off_t>(kHead) <= size;) {
    if (::fseeko(file, at, SEEK_SET) != 0) return false;
    if (std::fread(head.data(), 1, kHead, file) != kHead) return false;
    const ::off_t length = png_get_uint_32(head.data());
    const std::string_view name(reinterpret_cast<const char*>(head.data()) + 4, 4);
    if (name == "IEND") break;
    fit = name == "IDAT" || length <= size - at - kAround;
    at += kAround + length;
  }
  std::rewind(file);
  return fit;
}

class PngFile {
 public:
  explicit PngFile(CFile file) {
    source_.file = std::move(file);
    png_ = png_create_read_struct(PNG_LIBPNG_VER_STRING, &source_, fail_reading, ignore_warning);
    info_ = png_create_info_struct(png_);
    png_set_read_fn(png_, &source_, take_bytes);
  }
  ~PngFile() { png_destroy_read_struct(&png_, &info_, nullptr); }
  PngFile(const PngFile&) = delete;
  PngFile& operator=(const PngFile&) = delete;

  // Up to the pixels.
  bool read_info() {
    if (!chunks_fit(source_.file.get())) {
      std::snprintf(source_.message.data(), source_.message.size(), "ends too early");
      return false;
    }
    if (setjmp(source_.on_failure) != 0) return false;
    png_set_user_limits(png_, kMostSide, kMostSide);
    png_read_info(png_, info_);
    stored_bits_ = png_get_bit_depth(png_, info_);
    stored_channels_ = png_get_channels(png_, info_);
    return true;
  }

  // Palettes and small depths become 8 bits, transparency becomes alpha, words native.
  bool ask_for_plain_pixels() {
    if (setjmp(source_.on_failure) != 0) return false;
    png_set_expand(png_);
    if (std::endian::native == std::endian::little) png_set_swap(png_);
    png_set_interlace_handling(png_);
    png_read_update_info(png_, info_);
    return true;
  }

  bool read_pixels(png_bytepp rows) {
    if (setjmp(source_.on_failure) != 0) return false;
    png_read_image(png_, rows);
    png_read_end(png_, info_);
    return true;
  }

  [[nodiscard]] png_uint_32 width() const { return png_get_image_width(png_, info_); }
  [[nodiscard]] png_uint_32 height() const { return png_get_image_height(png_, info_); }
  [[nodiscard]] int stored_bits() const { return stored_bits_; }
  /// Before palettes, small depths and transparency are widened.
  [[nodiscard]] std::uint64_t stored_pixel_bits() const {
    return static_cast<std::uint64_t>(stored_bits_) * static_cast<std::uint64_t>(stored_channels_);
  }
  [[nodiscard]] SampleType type() const {
    return png_get_bit_depth(png_, info_) == 16 ? SampleType::u16 : SampleType::u8;
  }
  [[nodiscard]] Channels channels() const {
    constexpr Channels kByCount[] = {Channels::grey, Channels::grey_alpha, Channels::rgb,
                                     Channels::rgba};
    return kByCount[png_get_channels(png_, info_) - 1];
  }
  [[nodiscard]] std::size_t row_bytes() const { return png_get_rowbytes(png_, info_); }
  [[nodiscard]] std::string message() const { return source_.message.data(); }

  [[nodiscard]] std::vector<std::byte> icc_profile() const {
    png_charp name = nullptr;
    int compression = 0;
    png_bytep data = nullptr;
    png_uint_32 size = 0;
    if (png_get_iCCP(png_, info_, &name, &compression, &data, &size) == 0) return {};
    const auto* bytes = reinterpret_cast<const std::byte*>(data);
    return {bytes, bytes + size};
  }

  // Gamma 1.0 without a profile is the one statement about code values that is taken up.
  [[nodiscard]] Transfer transfer() const {
    double gamma = 0;
    const bool linear = png_get_valid(png_, info_, PNG_INFO_sRGB) == 0 &&
                        png_get_gAMA(png_, info_, &gamma) != 0 && gamma > 0.99 && gamma < 1.01;
    return linear ? Transfer::linear : Transfer::srgb;
  }

  [[nodiscard]] int orientation() const {
    png_uint_32 size = 0;
    png_bytep data = nullptr;
    if (png_get_eXIf_1(png_, info_, &size, &data) == 0) return 1;
    return exif_orientation({reinterpret_cast<const std::byte*>(data), size});
  }

 private:
  Source source_;
  png_structp png_ = nullptr;
  png_infop info_ = nullptr;
  int stored_bits_ = 8;
  int stored_channels_ = 3;
};

// Everything up to the pixels, checked.
Result<std::unique_ptr<PngFile>> open_png(const PictureFile& file) {
  CFile stream = open_c_file(file.path, "rb");
  if (!stream) return fail(unreadable_picture(file.path));
  auto png = std::make_unique<PngFile>(std::move(stream));
  if (!png->read_info() || !png->ask_for_plain_pixels()) {
    return fail(broken_picture(file.path, png->message()));
  }
  if (auto ok = check_picture_size(file.path, png->width(), png->height(), png->stored_pixel_bits(),
                                   file.bytes, kMostExpansion);
      !ok) {
    return tl::unexpected(ok.error());
  }
  return png;
}

}  // namespace

Result<Image> read_png(const PictureFile& file) {
  auto opened = open_png(file);
  if (!opened) return tl::unexpected(opened.error());
  PngFile& png = **opened;
  Image image(static_cast<int>(png.width()), static_cast<int>(png.height()), png.channels(),
              png.type());
  if (png.row_bytes() != image.row_bytes()) return fail(broken_picture(file.path, {}));
  std::vector<png_bytep> rows(png.height());
  for (std::size_t y = 0; y < rows.size(); ++y) {
    rows[y] = reinterpret_cast<png_bytep>(image.bytes().data() + y * image.row_bytes());
  }
  if (!png.read_pixels(rows.data())) return fail(broken_picture(file.path, png.message()));
  image.icc_profile = png.icc_profile();
  image.transfer = png.transfer();
  return upright(std::move(image), png.orientation());
}

Result<ImageHeader> read_png_header(const PictureFile& file) {
  auto opened = open_png(file);
  if (!opened) return tl::unexpected(opened.error());
  const PngFile& png = **opened;
  ImageHeader header;
  header.format = "PNG";
  header.width = static_cast<int>(png.width());
  header.height = static_cast<int>(png.height());
  header.channels = png.channels();
  header.type = png.type();
  header.bits_per_sample = png.stored_bits();
  header.compression = "deflate";
  header.orientation = png.orientation();
  if (header.orientation >= 5) std::swap(header.width, header.height);
  const auto profile = png.icc_profile();
  header.icc_bytes = profile.size();
  header.icc_description = icc_description(profile);
  return header;
}

}  // namespace seamwright
