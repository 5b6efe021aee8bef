#include "compose/finish/deliver.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>
#include <cstring>

#include <fmt/format.h>

#include "base/file.h"
#include "imaging/resize.h"
#include "imaging/write_image.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr int kLeastJpegWidth = 64;
constexpr int kMostJpegSide = 65500;  // libjpeg's limit

bool has_suffix(const fs::path& path, std::initializer_list<std::string_view> suffixes) {
  std::string suffix = path.extension().string();
  std::transform(suffix.begin(), suffix.end(), suffix.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return std::find(suffixes.begin(), suffixes.end(), suffix) != suffixes.end();
}

std::optional<Error> check_name(const fs::path& path,
                                std::initializer_list<std::string_view> suffixes, const char* what,
                                const char* remedy) {
  if (path.empty() || has_suffix(path, suffixes)) return std::nullopt;
  return Error{.where = path.string(), .field = {}, .what = what, .remedy = remedy};
}

std::optional<Error> check_names(const Deliverables& wanted) {
  if (auto error = check_name(wanted.picture, {".tif", ".tiff", ".png", ".jpg", ".jpeg", ".exr"},
                              "does not say what kind of picture to write",
                              "end the name in .tif, .png, .jpg or .exr")) {
    return error;
  }
  if (auto error = check_name(wanted.jpeg, {".jpg", ".jpeg"}, "is not the name of a JPEG",
                              "end the name in .jpg")) {
    return error;
  }
  if (auto error = check_name(wanted.exr, {".exr"}, "is not the name of an OpenEXR picture",
                              "end the name in .exr")) {
    return error;
  }
  const std::array<const fs::path*, 5> all = {&wanted.picture, &wanted.jpeg, &wanted.exr,
                                              &wanted.faces, &wanted.tiles};
  for (std::size_t i = 0; i < all.size(); ++i) {
    for (std::size_t j = i + 1; j < all.size(); ++j) {
      if (all[i]->empty() || *all[i] != *all[j]) continue;
      return Error{.where = all[i]->string(),
                   .field = {},
                   .what = "is asked for twice",
                   .remedy = "give each file a name of its own"};
    }
  }
  return std::nullopt;
}

std::optional<Error> check_numbers(const Deliverables& wanted, int panorama_width_px) {
  const int width = wanted.jpeg_width_px == 0 ? panorama_width_px : wanted.jpeg_width_px;
  if (width < kLeastJpegWidth || width > panorama_width_px || width % 2 != 0) {
    return Error{.where = {},
                 .field = "jpeg width",
                 .what = fmt::format("{} is not an even number from {} to the panorama's {}", width,
                                     kLeastJpegWidth, panorama_width_px),
                 .remedy = "4096 suits most web viewers"};
  }
  const bool jpeg_picture = has_suffix(wanted.picture, {".jpg", ".jpeg"});
  if ((!wanted.jpeg.empty() && width > kMostJpegSide) ||
      (jpeg_picture && panorama_width_px > kMostJpegSide)) {
    return Error{.where = {},
                 .field = "jpeg width",
                 .what = fmt::format("a JPEG ends at {} pixels", kMostJpegSide),
                 .remedy = "give a smaller 'jpeg_width'"};
  }
  if (wanted.jpeg_quality < 1 || wanted.jpeg_quality > 100) {
    return Error{.where = {},
                 .field = "jpeg quality",
                 .what = fmt::format("{} is outside 1…100", wanted.jpeg_quality),
                 .remedy = "92 is usual"};
  }
  const Latitudes& kept = wanted.kept;
  if (!(kept.low_deg >= -90 && kept.high_deg <= 90 && kept.high_deg - kept.low_deg >= 1)) {
    return Error{.where = {},
                 .field = "latitudes",
                 .what = fmt::format("{}…{} is no band of at least a degree within -90…90",
                                     kept.low_deg, kept.high_deg),
                 .remedy = "give the lower one first, e.g. -60 90"};
  }
  return wanted.cube.validate();
}

// The rows of some latitudes, and where they lie.
struct Kept {
  int top = 0;
  int rows = 0;
};

Kept kept_rows(const Latitudes& kept, int height) {
  const auto row = [&](double latitude_deg) {
    return static_cast<int>(std::lround((0.5 - latitude_deg / 180) * height));
  };
  const int top = std::clamp(row(kept.high_deg), 0, height - 1);
  return {top, std::clamp(row(kept.low_deg) - top, 1, height - top)};
}

std::string xmp_of(const PanoramaRecord& record, int width, const Kept& kept) {
  PanoramaInfo info = record.sphere;
  info.full_width_px = info.width_px = width;
  info.full_height_px = width / 2;
  info.left_px = 0;
  info.top_px = kept.top;
  info.height_px = kept.rows;
  return gpano_xmp(info);
}

Result<void> write_cropped(const fs::path& path, const Image& panorama,
                           const PanoramaRecord& record, const Deliverables& wanted) {
  const Kept kept = kept_rows(wanted.kept, panorama.height());
  const WriteOptions options{.tiff_compression = wanted.tiff_compression,
                             .bigtiff = BigTiff::when_needed,
                             .jpeg_quality = wanted.jpeg_quality,
                             .info = record.info,
                             .xmp = xmp_of(record, panorama.width(), kept)};
  if (kept.rows == panorama.height()) return write_image(path, panorama, options);
  Image cropped(panorama.width(), kept.rows, panorama.channels(), panorama.type());
  cropped.take_meaning_of(panorama);
  std::memcpy(cropped.bytes().data(),
              panorama.bytes().data() + static_cast<std::size_t>(kept.top) * panorama.row_bytes(),
              cropped.bytes().size());
  return write_image(path, cropped, options);
}

Result<void> write_jpeg_of(const Image& panorama, const PanoramaRecord& record,
                           const Deliverables& wanted) {
  const int width = wanted.jpeg_width_px;
  if (width == 0 || width == panorama.width()) {
    return write_cropped(wanted.jpeg, panorama, record, wanted);
  }
  return write_cropped(wanted.jpeg, resized(panorama, width, width / 2, Borders::wrap), record,
                       wanted);
}

}  // namespace

std::optional<Error> Deliverables::check(int panorama_width_px) const {
  if (auto error = check_names(*this)) return error;
  if (auto error = check_numbers(*this, panorama_width_px)) return error;
  std::vector<fs::path> files;
  for (const fs::path* path : {&picture, &jpeg, &exr}) {
    if (path->empty()) continue;
    files.push_back(*path);
    auto probe = PendingFile::create(*path);
    if (!probe) return probe.error();
  }
  const auto add = [&files](std::vector<fs::path> more) {
    files.insert(files.end(), more.begin(), more.end());
  };
  if (!faces.empty()) add(face_files(panorama_width_px, faces, cube));
  if (!tiles.empty()) add(tile_files(panorama_width_px, tiles, cube));
  if (auto free = check_destinations(files); !free) return free.error();
  return std::nullopt;
}

Result<void> deliver(const Image& panorama, const PanoramaRecord& record,
                     const Deliverables& wanted, const ProgressFn& progress) {
  if (auto error = check_whole_sphere(panorama)) return fail(std::move(*error));
  if (auto error = wanted.check(panorama.width())) return fail(std::move(*error));
  if (!tell(progress, "writing", 0)) {
    return fail({.kind = ErrorKind::cancelled,
                 .where = {},
                 .field = {},
                 .what = "stopped before writing",
                 .remedy = {}});
  }
  if (!wanted.picture.empty()) {
    if (auto done = write_cropped(wanted.picture, panorama, record, wanted); !done) return done;
  }
  if (!wanted.exr.empty()) {
    if (auto done = write_cropped(wanted.exr, panorama, record, wanted); !done) return done;
  }
  if (!wanted.jpeg.empty()) {
    if (auto done = write_jpeg_of(panorama, record, wanted); !done) return done;
  }
  if (!wanted.faces.empty()) {
    if (auto done = write_faces(panorama, wanted.faces, wanted.cube, progress); !done) return done;
  }
  if (wanted.tiles.empty()) return {};
  return write_tiles(panorama, wanted.tiles, wanted.cube, progress);
}

}  // namespace seamwright
