#include "compose/finish/cube.h"

#include <algorithm>
#include <cstring>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "base/file.h"
#include "base/make_folder.h"
#include "base/out_of_range.h"
#include "imaging/convert.h"
#include "imaging/resize.h"
#include "imaging/write_image.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

Result<void> go_on(const ProgressFn& progress, const char* stage, std::size_t done) {
  if (tell(progress, stage, static_cast<double>(done) / 6)) return {};
  return fail(stopped_while(stage));
}

nlohmann::json vector_json(const Vec3& v) { return {v.x(), v.y(), v.z()}; }

nlohmann::json face_json(const CubeFace& face) {
  const Mat3& axes = face.view.sphere_from_view;
  return {{"name", face.name},
          {"right", vector_json(axes.col(0))},
          {"down", vector_json(axes.col(1))},
          {"ahead", vector_json(axes.col(2))}};
}

int face_side(int panorama_width_px, const CubeOptions& options) {
  return options.face_px > 0 ? options.face_px : native_view_size(panorama_width_px, 90);
}

Result<int> face_size(const Image& panorama, const CubeOptions& options) {
  if (auto error = options.validate()) return fail(std::move(*error));
  if (auto error = check_whole_sphere(panorama)) return fail(std::move(*error));
  return face_side(panorama.width(), options);
}

Image part_of(const Image& picture, int left, int top, int width, int height) {
  Image out(width, height, picture.channels(), picture.type());
  out.take_meaning_of(picture);
  const std::size_t pixel = picture.row_bytes() / static_cast<std::size_t>(picture.width());
  for (int y = 0; y < height; ++y) {
    std::memcpy(out.bytes().data() + static_cast<std::size_t>(y) * out.row_bytes(),
                picture.bytes().data() + static_cast<std::size_t>(top + y) * picture.row_bytes() +
                    static_cast<std::size_t>(left) * pixel,
                out.row_bytes());
  }
  return out;
}

// Face sizes, largest first, down to one tile.
std::vector<int> levels(int face_px, int tile_px) {
  std::vector<int> sizes = {face_px};
  while (sizes.back() > tile_px) sizes.push_back((sizes.back() + 1) / 2);
  return sizes;
}

constexpr const char* kFacesIndex = "cube.json";
constexpr const char* kTilesIndex = "tiles.json";

fs::path face_file(const fs::path& folder, const CubeFace& face) {
  return folder / fmt::format("{}.tif", face.name);
}

/// One tile of a face: its row and column, and its corner in the face, px.
struct Tile {
  int row = 0;
  int column = 0;
  int left = 0;
  int top = 0;
};

std::vector<Tile> tiles_of(int face_px, int tile_px) {
  std::vector<Tile> tiles;
  for (int top = 0; top < face_px; top += tile_px) {
    for (int left = 0; left < face_px; left += tile_px) {
      tiles.push_back({top / tile_px, left / tile_px, left, top});
    }
  }
  return tiles;
}

fs::path tile_file(const fs::path& folder, const char* face, const Tile& tile) {
  return folder / fmt::format("{}-r{}-c{}.jpg", face, tile.row, tile.column);
}

Result<void> write_level(const Image& face, const char* name, const fs::path& folder,
                         const CubeOptions& options) {
  const int size = face.width();
  for (const Tile& tile : tiles_of(size, options.tile_px)) {
    const Image picture =
        part_of(face, tile.left, tile.top, std::min(options.tile_px, size - tile.left),
                std::min(options.tile_px, size - tile.top));
    auto done =
        write_image(tile_file(folder, name, tile), picture, {.jpeg_quality = options.jpeg_quality});
    if (!done) return done;
  }
  return {};
}

}  // namespace

std::vector<CubeFace> cube_faces(int size_px) {
  const auto face = [&](const char* name, const Vec3& right, const Vec3& down) {
    FlatView view;
    view.sphere_from_view.col(0) = right;
    view.sphere_from_view.col(1) = down;
    view.sphere_from_view.col(2) = right.cross(down);
    view.size_px = size_px;
    return CubeFace{name, view};
  };
  const Vec3 x = Vec3::UnitX();
  const Vec3 y = Vec3::UnitY();
  const Vec3 z = Vec3::UnitZ();
  return {face("above", x, z),  face("ahead", x, y), face("behind", -x, y),
          face("below", x, -z), face("left", z, y),  face("right", -z, y)};
}

std::optional<Error> CubeOptions::validate() const {
  if (face_px != 0) {
    if (auto error = out_of_range("face size", face_px, 16, 32768)) return error;
  }
  if (auto error = out_of_range("tile size", tile_px, 64, 4096)) return error;
  return out_of_range("tile quality", jpeg_quality, 1, 100);
}

std::vector<fs::path> face_files(int panorama_width_px, const fs::path& folder,
                                 const CubeOptions& options) {
  std::vector<fs::path> files = {folder / kFacesIndex};
  for (const CubeFace& face : cube_faces(face_side(panorama_width_px, options))) {
    files.push_back(face_file(folder, face));
  }
  return files;
}

std::vector<fs::path> tile_files(int panorama_width_px, const fs::path& folder,
                                 const CubeOptions& options) {
  const int side = face_side(panorama_width_px, options);
  std::vector<fs::path> files = {folder / kTilesIndex};
  for (const int level : levels(side, options.tile_px)) {
    for (const CubeFace& face : cube_faces(side)) {
      for (const Tile& tile : tiles_of(level, options.tile_px)) {
        files.push_back(tile_file(folder / fmt::format("{}", level), face.name, tile));
      }
    }
  }
  return files;
}

Result<void> write_faces(const Image& panorama, const fs::path& folder, const CubeOptions& options,
                         const ProgressFn& progress) {
  const auto size = face_size(panorama, options);
  if (!size) return tl::unexpected(size.error());
  if (auto free = check_destinations(face_files(panorama.width(), folder, options)); !free) {
    return free;
  }
  if (auto made = make_folder(folder); !made) return made;
  const WrappedPanorama source(panorama);
  nlohmann::json faces = nlohmann::json::array();
  for (const CubeFace& face : cube_faces(*size)) {
    if (auto on = go_on(progress, "cutting faces", faces.size()); !on) return on;
    const fs::path file = face_file(folder, face);
    const Image picture = render_flat_view(source, face.view);
    if (auto done = write_image(file, picture); !done) return done;
    nlohmann::json entry = face_json(face);
    entry["file"] = file.filename().string();
    faces.push_back(std::move(entry));
  }
  const nlohmann::json cube = {{"format", "seamwright-cube"},
                               {"version", 1},
                               {"face_px", *size},
                               {"panorama_width_px", panorama.width()},
                               {"faces", faces}};
  return write_file(folder / kFacesIndex, cube.dump(2) + "\n");
}

Result<void> write_tiles(const Image& panorama, const fs::path& folder, const CubeOptions& options,
                         const ProgressFn& progress) {
  const auto size = face_size(panorama, options);
  if (!size) return tl::unexpected(size.error());
  const std::vector<int> sizes = levels(*size, options.tile_px);
  if (auto free = check_destinations(tile_files(panorama.width(), folder, options)); !free) {
    return free;
  }
  for (const int level : sizes) {
    if (auto made = make_folder(folder / fmt::format("{}", level)); !made) return made;
  }
  const WrappedPanorama source(panorama);
  nlohmann::json faces = nlohmann::json::array();
  for (const CubeFace& face : cube_faces(*size)) {
    if (auto on = go_on(progress, "cutting tiles", faces.size()); !on) return on;
    Image picture = to_type(render_flat_view(source, face.view), SampleType::u16);
    for (const int level : sizes) {
      // Each level from the one before: it is half as fine, and so are they all.
      if (level != picture.width()) picture = resized(picture, level, level, Borders::repeat);
      auto done = write_level(picture, face.name, folder / fmt::format("{}", level), options);
      if (!done) return done;
    }
    faces.push_back(face_json(face));
  }
  nlohmann::json scales = nlohmann::json::array();
  for (const int level : sizes) {
    scales.push_back({{"face_px", level},
                      {"folder", fmt::format("{}", level)},
                      {"rows", (level + options.tile_px - 1) / options.tile_px},
                      {"columns", (level + options.tile_px - 1) / options.tile_px}});
  }
  const nlohmann::json tiles = {{"format", "seamwright-tiles"},
                                {"version", 1},
                                {"tile_px", options.tile_px},
                                {"tile_name", "{folder}/{face}-r{row}-c{column}.jpg"},
                                {"panorama_width_px", panorama.width()},
                                {"scales", scales},
                                {"faces", faces}};
  return write_file(folder / kTilesIndex, tiles.dump(2) + "\n");
}

}  // namespace seamwright
