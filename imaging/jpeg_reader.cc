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

#include "imaging/c_file.h"
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
  explicit JpegFile(CFile file) : file_(std::move(file)) {
    jpeg_.err = errors_.manager();
    jpeg_create_decompress(&jpeg_);
    progress_.progress_monitor = limit_scans;
    jpeg_.progress = &progress_;
  }
  ~JpegFile() { jpeg_destroy_decompress(&jpeg_); }
  JpegFile(const JpegFile&) = delete;
  JpegFile& operator=(const JpegFile&) = delete;

  bool read_header() {
    if (setjmp(errors_.on_failure) != 0) return false;
    jpeg_stdio_src(&jpeg_, file_.get());
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
  /// Of one pixel; a picture in several scans is kept whole, as 16-bit coefficients.
  [[nodiscard]] int decoder_bytes() {
    return jpeg_has_multiple_scans(&jpeg_) == TRUE ? 2 * jpeg_.num_components : 0;
  }
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

  // Each scan of a progressive picture goes over all of it, however few bytes it has; usual files
  // have ten.
  static void limit_scans(j_common_ptr jpeg) {
    constexpr int kMostScans = 200;
    if (reinterpret_cast<j_decompress_ptr>(jpeg)->input_scan_number <= kMostScans) return;
    auto& errors = *reinterpret_cast<JpegErrors*>(jpeg->err);
    std::snprintf(errors.text.data(), errors.text.size(), "more than %d scans", kMostScans);
    std::longjmp(errors.on_failure, 1);
  }

  JpegErrors errors_;
  jpeg_progress_mgr progress_ = {};
  jpeg_decompress_struct jpeg_ = {};
  CFile file_;
};

Result<std::unique_ptr<JpegFile>> open_jpeg(const PictureFile& file) {
  CFile stream = open_c_file(file.path, "rb");
  if (!stream) return fail(unreadable_picture(file.path));
  auto jpeg = std::make_unique<JpegFile>(std::move(stream));
  if (!jpeg->read_header()) return fail(broken_picture(file.path, jpeg->message()));
  if (jpeg->components() != 1 && jpeg->components() != 3) {
    return fail(unsupported_picture(file.path, "has CMYK colours", "save it as RGB or grey"));
  }
  if (auto ok = check_picture_size(file.path, jpeg->width(), jpeg->height(),
                                   8 * static_cast<std::uint64_t>(jpeg->components()), file.bytes,
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
  header.decoder_bytes_per_pixel = jpeg.decoder_bytes();
  header.orientation = jpeg.orientation();
  if (header.orientation >= 5) std::swap(header.width, header.height);
  const auto profile = jpeg.icc_profile();
  header.icc_bytes = profile.size();
  header.icc_description = icc_description(profile);
  return header;
}

}  // namespace seamwright
