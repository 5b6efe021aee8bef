#include "jobs/tour/room_pictures.h"

#include <algorithm>
#include <array>

#include <fmt/format.h>

#include "base/file_guard.h"
#include "base/make_folder.h"
#include "compose/finish/cube.h"
#include "imaging/convert.h"
#include "imaging/resize.h"
#include "imaging/write_image.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

// For a start on a slow disk, for telephones, and for large screens.
constexpr std::array<int, 3> kSizes_px = {256, 1024, 2048};
// Of the smallest and of the others: what is looked at for a moment, and what stays.
constexpr int kFirstQuality = 70;
constexpr int kQuality = 85;
constexpr double kFaceField_deg = 90;

fs::path picture_file(const fs::path& folder, int size_px, const char* face) {
  return folder / fmt::format("{}", size_px) / fmt::format("{}.jpg", face);
}

}  // namespace

std::vector<int> room_sizes(int panorama_width_px) {
  const int native = native_view_size(panorama_width_px, kFaceField_deg);
  std::vector<int> sizes;
  for (const int size : kSizes_px) sizes.push_back(std::min(size, native));
  sizes.erase(std::unique(sizes.begin(), sizes.end()), sizes.end());
  return sizes;
}

std::vector<fs::path> room_files(int panorama_width_px, const fs::path& folder) {
  std::vector<fs::path> files;
  for (const int size : room_sizes(panorama_width_px)) {
    for (const CubeFace& face : cube_faces(size)) {
      files.push_back(picture_file(folder, size, face.name));
    }
  }
  return files;
}

Result<void> write_room_pictures(const Image& panorama, const fs::path& folder,
                                 const ProgressFn& progress) {
  if (auto error = check_whole_sphere(panorama)) return fail(std::move(*error));
  const std::vector<int> sizes = room_sizes(panorama.width());
  if (auto free = check_destinations(room_files(panorama.width(), folder)); !free) return free;
  for (const int size : sizes) {
    if (auto made = make_folder(folder / fmt::format("{}", size)); !made) return made;
  }
  const WrappedPanorama source(panorama);
  const int native = native_view_size(panorama.width(), kFaceField_deg);
  int done = 0;
  for (const CubeFace& face : cube_faces(native)) {
    if (!tell(progress, "cutting faces", done++ / 6.0)) return fail(stopped_while("cutting faces"));
    Image picture = to_type(render_flat_view(source, face.view), SampleType::u16);
    // Largest first: each is made from the one before.
    for (auto size = sizes.rbegin(); size != sizes.rend(); ++size) {
      if (*size != picture.width()) picture = resized(picture, *size, *size, Borders::repeat);
      const int quality = *size == kSizes_px.front() ? kFirstQuality : kQuality;
      auto written =
          write_image(picture_file(folder, *size, face.name), picture, {.jpeg_quality = quality});
      if (!written) return written;
    }
  }
  return {};
}

}  // namespace seamwright
