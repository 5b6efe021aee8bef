#include <algorithm>
#include <array>
#include <csetjmp>
#include <cstddef>
#include <cstdio>
#include <cstdlib>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include <jerror.h>
#include <jpeglib.h>

#include "base/file.h"
#include "imaging/codecs.h"
#include "imaging/exif_reader.h"
#include "imaging/icc.h"
#include "imaging/jpeg_errors.h"
#include "imaging/orient.h"
#include "imaging/picture_error.h"

namespace seamwright {
namespace {

constexpr int kExifMarker = JPEG_APP0 + 1;
constexpr int kIccMarker = JPEG_APP0 + 2;

class JpegFile {
 public:
  explicit JpegFile(std::string bytes) : bytes_(std::move(bytes)) {
    jpeg_.err = errors_.manager();
    jpeg_create_decompress(&jpeg_);
  }
  ~JpegFile() { jpeg_destroy_decompress(&jpeg_); }
  JpegFile(const JpegFile&) = delete;
  JpegFile& operator=(const JpegFile&) = delete;

  bool read_header() {
    if (setjmp(errors_.on_failure) != 0) return false;
    jpeg_mem_src(&jpeg_, reinterpret_cast<const unsigned char*>(bytes_.data()), bytes_.size());
    jpeg_save_markers(&jpeg_, kExifMarker, 0xFFFF);
    jpeg_save_markers(&jpeg_, kIccMarker, 0xFFFF);
    jpeg_read_header(&jpeg_, TRUE);
    return true;
  }

  bool read_pixels(JSAMPARRAY rows) {
    if (setjmp(errors_.on_failure) != 0) return false;
    jpeg_.out_color_space = jpeg_.num_components == 1 ? JCS_GRAYSCALE : JCS_RGB;
    jpeg_start_decompress(&jpeg_);
    while (jpeg_.output_scanline < jpeg_.output_height) {
      jpeg_read_scanlines(&jpeg_, rows + jpeg_.output_scanline,
                          jpeg_.output_height - jpeg_.output_scanline);
    }
    jpeg_finish_decompress(&jpeg_);
    return true;
  }

  [[nodiscard]] JDIMENSION width() const { return jpeg_.image_width; }
  [[nodiscard]] JDIMENSION height() const { return jpeg_.image_height; }
  [[nodiscard]] int components() const { return jpeg_.num_components; }
  [[nodiscard]] Channels channels() const {
    return jpeg_.num_components == 1 ? Channels::grey : Channels::rgb;
  }
  [[nodiscard]] std::string message() const { return errors_.text.data(); }

  [[nodiscard]] std::vector<std::byte> icc_profile() {
    JOCTET* data = nullptr;
    unsigned size = 0;
    if (!find_icc_profile(&data, &size)) return {};
    const std::unique_ptr<JOCTET, decltype(&std::free)> owner(data, std::free);
    const auto* bytes = reinterpret_cast<const std::byte*>(data);
    return {bytes, bytes + size};
  }

  [[nodiscard]] int orientation() const {
    constexpr std::array<unsigned char, 6> kStart = {'E', 'x', 'i', 'f', 0, 0};
    for (auto* marker = jpeg_.marker_list; marker != nullptr; marker = marker->next) {
      if (marker->marker != kExifMarker || marker->data_length <= kStart.size()) continue;
      if (!std::equal(kStart.begin(), kStart.end(), marker->data)) continue;
      return exif_orientation({reinterpret_cast<const std::byte*>(marker->data) + kStart.size(),
                               marker->data_length - kStart.size()});
    }
    return 1;
  }

 private:
  bool find_icc_profile(JOCTET** data, unsigned* size) {
    if (setjmp(errors_.on_failure) != 0) return false;
    return jpeg_read_icc_profile(&jpeg_, data, size) == TRUE;
  }

  JpegErrors errors_;
  jpeg_decompress_struct jpeg_ = {};
  std::string bytes_;
};

Result<std::unique_ptr<JpegFile>> open_jpeg(const PictureFile& file) {
  auto bytes = read_file(file.path, file.bytes);
  if (!bytes) return tl::unexpected(bytes.error());
  auto jpeg = std::make_unique<JpegFile>(std::move(*bytes));
  if (!jpeg->read_header()) return fail(broken_picture(file.path, jpeg->message()));
  if (jpeg->components() != 1 && jpeg->components() != 3) {
    return fail(unsupported_picture(file.path, "has CMYK colours", "save it as RGB or grey"));
  }
  if (auto ok = check_picture_size(file.path, jpeg->width(), jpeg->height(),
                                   static_cast<std::uint64_t>(jpeg->components()), file.bytes,
                                   kMostExpansion);
      !ok) {
    return tl::unexpected(ok.error());
  }
  return jpeg;
}

}  // namespace

Result<Image> read_jpeg(const PictureFile& file) {
  auto opened = open_jpeg(file);
  if (!opened) return tl::unexpected(opened.error());
  JpegFile& jpeg = **opened;
  Image image(static_cast<int>(jpeg.width()), static_cast<int>(jpeg.height()), jpeg.channels(),
              SampleType::u8);
  std::vector<JSAMPROW> rows(jpeg.height());
  for (std::size_t y = 0; y < rows.size(); ++y) {
    rows[y] = reinterpret_cast<JSAMPROW>(image.bytes().data() + y * image.row_bytes());
  }
  image.icc_profile = jpeg.icc_profile();
  const int orientation = jpeg.orientation();
  if (!jpeg.read_pixels(rows.data())) return fail(broken_picture(file.path, jpeg.message()));
  return upright(std::move(image), orientation);
}

Result<ImageHeader> read_jpeg_header(const PictureFile& file) {
  auto opened = open_jpeg(file);
  if (!opened) return tl::unexpected(opened.error());
  JpegFile& jpeg = **opened;
  ImageHeader header;
  header.format = "JPEG";
  header.width = static_cast<int>(jpeg.width());
  header.height = static_cast<int>(jpeg.height());
  header.channels = jpeg.channels();
  header.compression = "JPEG";
  header.orientation = jpeg.orientation();
  if (header.orientation >= 5) std::swap(header.width, header.height);
  const auto profile = jpeg.icc_profile();
  header.icc_bytes = profile.size();
  header.icc_description = icc_description(profile);
  return header;
}

}  // namespace seamwright
