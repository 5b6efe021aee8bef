#include "compose/render/panorama_file.h"

#include <algorithm>
#include <cctype>
#include <string>

#include <fmt/format.h>

#include "base/file.h"
#include "imaging/convert.h"
#include "imaging/metadata.h"
#include "imaging/resize.h"
#include "imaging/write_image.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr int kJpegMaxSide = 65535;  // ITU-T T.81: 16-bit line and sample counts

enum class Kind { tiff, png, jpeg, exr, other };

Kind kind_of(const fs::path& path) {
  std::string suffix = path.extension().string();
  std::transform(suffix.begin(), suffix.end(), suffix.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  if (suffix == ".tif" || suffix == ".tiff") return Kind::tiff;
  if (suffix == ".png") return Kind::png;
  if (suffix == ".jpg" || suffix == ".jpeg") return Kind::jpeg;
  if (suffix == ".exr") return Kind::exr;
  return Kind::other;
}

std::optional<Error> check_destination(const fs::path& path, int width_px) {
  if (kind_of(path) == Kind::jpeg && width_px > kJpegMaxSide) {
    return Error{
        .where = path.string(),
        .field = {},
        .what = fmt::format("{} px is wider than a JPEG can be ({})", width_px, kJpegMaxSide),
        .remedy = "write a TIFF, or give a smaller 'width'"};
  }
  auto probe = PendingFile::create(path);
  if (!probe) return probe.error();
  return std::nullopt;
}

std::optional<Error> check_files(const PanoramaFiles& files, int width_px) {
  if (kind_of(files.picture) == Kind::other) {
    return Error{.where = files.picture.string(),
                 .field = {},
                 .what = "does not say what kind of picture to write",
                 .remedy = "end the name in .tif, .png, .jpg or .exr"};
  }
  if (files.jpeg && kind_of(*files.jpeg) != Kind::jpeg) {
    return Error{.where = files.jpeg->string(),
                 .field = {},
                 .what = "is not the name of a JPEG",
                 .remedy = "end the name in .jpg"};
  }
  if (files.jpeg && *files.jpeg == files.picture) {
    return Error{.where = files.jpeg->string(),
                 .field = {},
                 .what = "is the name of the panorama itself",
                 .remedy = "give the JPEG another name"};
  }
  if (files.jpeg_quality < 1 || files.jpeg_quality > 100) {
    return Error{.where = {},
                 .field = "jpeg quality",
                 .what = fmt::format("{} is outside 1…100", files.jpeg_quality),
                 .remedy = "92 is usual"};
  }
  const int jpeg_width = files.jpeg_width_px == 0 ? width_px : files.jpeg_width_px;
  if (jpeg_width < 64 || jpeg_width > width_px || jpeg_width % 2 != 0) {
    return Error{.where = {},
                 .field = "jpeg width",
                 .what = fmt::format("{} is not an even number from 64 to the panorama's {}",
                                     jpeg_width, width_px),
                 .remedy = "4096 suits most web viewers"};
  }
  if (auto error = check_destination(files.picture, width_px)) return error;
  if (files.jpeg) return check_destination(*files.jpeg, jpeg_width);
  return std::nullopt;
}

PanoramaInfo panorama_info(int width_px, std::span<const Frame> frames,
                           const PanoramaFiles& files) {
  PanoramaInfo info = PanoramaInfo::whole_sphere(width_px, width_px / 2);
  info.heading_deg = files.heading_deg;
  info.made_from = files.made_from;
  info.source_photos = static_cast<int>(frames.size());
  for (const Frame& frame : frames) {
    const auto& time = frame.info.taken_at;
    if (!time) continue;
    // EXIF times sort as text.
    if (!info.first_taken_at || *time < *info.first_taken_at) info.first_taken_at = time;
    if (!info.last_taken_at || *time > *info.last_taken_at) info.last_taken_at = time;
  }
  return info;
}

// What stays true of the whole sphere: it has no single focal length or lens. The numbers of
// body and lens are their owner's business.
FrameInfo picture_info(const Frame& first, bool keep_location) {
  FrameInfo info = first.info;
  info.file.clear();
  info.focal_length_mm.reset();
  info.lens_model.reset();
  info.body_serial.reset();
  info.lens_serial.reset();
  if (!keep_location) info.location.reset();
  return info;
}

// Collects the rows in memory, in a sample type of its own.
class PictureSink final : public RowSink {
 public:
  PictureSink(const PanoramaShape& shape, SampleType type)
      : shape_(shape), picture_(shape.width_px, shape.height_px, shape.channels, type) {
    picture_.icc_profile = shape.icc_profile;
    picture_.transfer = shape.transfer;
  }

  Result<void> write_rows(int first_row, std::span<const std::byte> rows) override {
    const int count = static_cast<int>(
        rows.size() / (bytes_per_sample(shape_.type) * static_cast<std::size_t>(shape_.width_px) *
                       static_cast<std::size_t>(channel_count(shape_.channels))));
    Image band(shape_.width_px, count, shape_.channels, shape_.type);
    std::copy(rows.begin(), rows.end(), band.bytes().begin());
    const Image converted = to_type(band, picture_.type());
    const auto offset = static_cast<std::size_t>(first_row) * picture_.row_bytes();
    std::copy(converted.bytes().begin(), converted.bytes().end(),
              picture_.bytes().begin() + static_cast<std::ptrdiff_t>(offset));
    return {};
  }
  [[nodiscard]] const Image& picture() const { return picture_; }

 private:
  const PanoramaShape& shape_;
  Image picture_;
};

class TiffSink final : public RowSink {
 public:
  explicit TiffSink(TiffStripWriter writer) : writer_(std::move(writer)) {}
  Result<void> write_rows(int first_row, std::span<const std::byte> rows) override {
    return writer_.write_rows(first_row, rows);
  }
  [[nodiscard]] Result<void> finish() { return writer_.finish(); }

 private:
  TiffStripWriter writer_;
};

// Hands rows to every sink there is.
class Outputs final : public RowSink {
 public:
  std::optional<TiffSink> tiff;
  std::optional<PictureSink> picture;
  std::optional<PictureSink> jpeg;

  Result<void> write_rows(int first_row, std::span<const std::byte> rows) override {
    const auto give = [&](auto& sink) -> Result<void> {
      return sink ? sink->write_rows(first_row, rows) : Result<void>{};
    };
    if (auto done = give(tiff); !done) return done;
    if (auto done = give(picture); !done) return done;
    return give(jpeg);
  }
};

Result<TiffStripWriter> open_tiff(const PanoramaShape& shape, const PanoramaFiles& files,
                                  const FrameInfo& info, const std::string& xmp) {
  return TiffStripWriter::create(files.picture, {.width = shape.width_px,
                                                 .height = shape.height_px,
                                                 .channels = shape.channels,
                                                 .type = shape.type,
                                                 .compression = files.tiff_compression,
                                                 .bigtiff = BigTiff::when_needed,
                                                 .icc_profile = shape.icc_profile,
                                                 .xmp = xmp,
                                                 .info = info});
}

Error stopped(const PanoramaFiles& files) {
  return {.kind = ErrorKind::cancelled,
          .where = files.picture.string(),
          .field = {},
          .what = "stopped before writing",
          .remedy = {}};
}

Result<void> write_companion(const Image& picture, std::span<const Frame> frames,
                             const PanoramaFiles& files, WriteOptions write) {
  const int width = files.jpeg_width_px;
  if (width == 0 || width == picture.width()) return write_image(*files.jpeg, picture, write);
  write.xmp = gpano_xmp(panorama_info(width, frames, files));
  return write_image(*files.jpeg, resized(picture, width, width / 2, Borders::wrap), write);
}

Result<void> finish(Outputs& outputs, std::span<const Frame> frames, const PanoramaFiles& files,
                    const FrameInfo& info, const std::string& xmp) {
  const WriteOptions write{.tiff_compression = files.tiff_compression,
                           .bigtiff = BigTiff::when_needed,
                           .jpeg_quality = files.jpeg_quality,
                           .info = info,
                           .xmp = xmp};
  if (outputs.tiff) {
    if (auto done = outputs.tiff->finish(); !done) return done;
  }
  if (outputs.picture) {
    if (auto done = write_image(files.picture, outputs.picture->picture(), write); !done) {
      return done;
    }
  }
  return outputs.jpeg ? write_companion(outputs.jpeg->picture(), frames, files, write)
                      : Result<void>{};
}

}  // namespace

std::optional<Error> check_panorama_files(const PanoramaFiles& files, int panorama_width_px) {
  return check_files(files, panorama_width_px);
}

Result<void> write_panorama_image(const Image& panorama, std::span<const Frame> frames,
                                  const PanoramaFiles& files, const ProgressFn& progress) {
  if (auto error = check_files(files, panorama.width())) return fail(std::move(*error));
  if (!tell(progress, "writing", 0)) return fail(stopped(files));
  const WriteOptions write{.tiff_compression = files.tiff_compression,
                           .bigtiff = BigTiff::when_needed,
                           .jpeg_quality = files.jpeg_quality,
                           .info = picture_info(frames[0], files.keep_location),
                           .xmp = gpano_xmp(panorama_info(panorama.width(), frames, files))};
  if (auto done = write_image(files.picture, panorama, write); !done) return done;
  return files.jpeg ? write_companion(panorama, frames, files, write) : Result<void>{};
}

Result<RenderReport> write_panorama(const Rig& rig, std::span<const Frame> frames,
                                    const RenderOptions& options, const PanoramaFiles& files,
                                    const ProgressFn& progress) {
  const auto shape = panorama_shape(rig, frames, options);
  if (!shape) return tl::unexpected(shape.error());
  if (auto error = check_files(files, shape->width_px)) return fail(std::move(*error));
  const FrameInfo info = picture_info(frames[0], files.keep_location);
  const std::string xmp = gpano_xmp(panorama_info(shape->width_px, frames, files));

  Outputs outputs;
  switch (kind_of(files.picture)) {
    case Kind::png:
      outputs.picture.emplace(*shape, SampleType::u16);
      break;
    case Kind::jpeg:
      outputs.picture.emplace(*shape, SampleType::u8);
      break;
    case Kind::exr:
      outputs.picture.emplace(*shape, shape->type);
      break;
    default: {
      auto writer = open_tiff(*shape, files, info, xmp);
      if (!writer) return tl::unexpected(writer.error());
      outputs.tiff.emplace(std::move(*writer));
    }
  }
  // A smaller companion is made from 16 bits, so that it is rounded once.
  const bool smaller = files.jpeg_width_px != 0 && files.jpeg_width_px != shape->width_px;
  if (files.jpeg) outputs.jpeg.emplace(*shape, smaller ? SampleType::u16 : SampleType::u8);

  auto report = render_panorama(rig, frames, options, outputs, progress);
  if (!report) return report;
  if (!tell(progress, "writing", 0)) return fail(stopped(files));
  if (auto done = finish(outputs, frames, files, info, xmp); !done)
    return tl::unexpected(done.error());
  return report;
}

}  // namespace seamwright
