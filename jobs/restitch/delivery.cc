#include "jobs/restitch/delivery.h"

#include <algorithm>
#include <set>

#include <fmt/format.h>

#include "base/file_guard.h"
#include "compose/finish/deliver.h"
#include "imaging/metadata.h"
#include "imaging/read_image.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

// NAME.tif → NAME<ending>.
fs::path beside_panorama(const fs::path& panorama, const std::string& ending) {
  return panorama.parent_path() / (panorama.stem().string() + ending);
}

fs::path sized_jpeg(const fs::path& panorama, const SizedJpeg& jpeg) {
  return beside_panorama(panorama, fmt::format("-{}.jpg", jpeg.width_px));
}
fs::path linear_exr(const fs::path& panorama) { return beside_panorama(panorama, ".exr"); }
fs::path faces_folder(const fs::path& panorama) { return beside_panorama(panorama, "-faces"); }
fs::path tiles_folder(const fs::path& panorama) { return beside_panorama(panorama, "-tiles"); }

Error names_error(std::string what, std::string remedy) {
  return {.kind = ErrorKind::user_input,
          .where = {},
          .field = "names",
          .what = std::move(what),
          .remedy = std::move(remedy)};
}

// What may stand in the name of a file.
std::string file_words(std::string text) {
  std::replace_if(
      text.begin(), text.end(),
      [](char c) { return c == '/' || c == '\\' || c == ':' || c == ' '; }, '_');
  return text;
}

// Nothing where there is no such part.
std::optional<std::string> part_of(const std::string& word, const NameParts& parts) {
  const std::size_t blank = parts.time.find(' ');
  if (word == "name") return parts.name;
  if (word == "body") return file_words(parts.body);
  if (word == "date") return file_words(parts.time.substr(0, blank));
  if (word == "time") {
    std::string clock = blank == std::string::npos ? "" : parts.time.substr(blank + 1);
    std::erase(clock, ':');
    return file_words(clock);
  }
  return std::nullopt;
}

bool anything_from_panorama(const Delivery& delivery) {
  return !delivery.more_jpegs.empty() || delivery.exr || delivery.faces || delivery.tiles;
}

Result<PanoramaRecord> record_of(const fs::path& panorama) {
  auto info = read_frame_info(panorama);
  if (!info) return tl::unexpected(info.error());
  auto sphere = read_panorama_info(panorama);
  if (!sphere) return tl::unexpected(sphere.error());
  return PanoramaRecord{.info = std::move(*info), .sphere = sphere->value_or(PanoramaInfo{})};
}

}  // namespace

std::optional<Error> Delivery::validate() const {
  const NameParts any{.name = "n", .time = "d t", .body = "b"};
  if (const auto name = output_name(names, any); !name) return name.error();
  std::set<int> widths;
  for (const SizedJpeg& jpeg : more_jpegs) {
    if (jpeg.width_px >= 64 && jpeg.width_px % 2 == 0 && widths.insert(jpeg.width_px).second) {
      continue;
    }
    return Error{.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "more_jpegs",
                 .what = fmt::format("{} is odd, below 64 or there twice", jpeg.width_px),
                 .remedy = "give even widths, each once"};
  }
  for (const auto& cube : {faces, tiles}) {
    if (!cube) continue;
    if (auto error = cube->validate()) return error;
  }
  return std::nullopt;
}

Result<std::string> output_name(const std::string& pattern, const NameParts& parts) {
  std::string name;
  bool varies = false;
  for (std::size_t at = 0; at < pattern.size();) {
    if (pattern[at] != '{') {
      name += pattern[at++];
      continue;
    }
    const std::size_t end = std::min(pattern.find('}', at), pattern.size());
    const std::string word = pattern.substr(at + 1, end - at - 1);
    const auto part = part_of(word, parts);
    if (!part) {
      return fail(
          names_error(fmt::format("'{}' holds {{{}}}, which is no part of a name", pattern, word),
                      "the parts are {name}, {date}, {time} and {body}"));
    }
    if (part->empty()) {
      return fail(names_error(fmt::format("nothing tells the {} of {}", word, parts.name),
                              "leave it out of the pattern, or say it in the run file"));
    }
    varies = varies || word == "name" || word == "time";
    name += *part;
    at = end + 1;
  }
  if (!varies) {
    return fail(names_error(fmt::format("'{}' gives all shots the same name", pattern),
                            "let it hold {name}"));
  }
  if (name.find_first_of("/\\:") != std::string::npos || name.starts_with('.')) {
    return fail(names_error(fmt::format("'{}' is no name for a file", name),
                            "leave out '/', '\\' and ':', and a '.' at its begin"));
  }
  return name;
}

std::string text_of(const Delivery& delivery) {
  std::string text;
  for (const SizedJpeg& jpeg : delivery.more_jpegs) {
    text += fmt::format("jpeg={} quality={}\n", jpeg.width_px, jpeg.quality);
  }
  if (!delivery.light.empty()) text += fmt::format("light={}\n", delivery.light);
  if (delivery.exr) text += "exr=true\n";
  if (delivery.faces) text += fmt::format("faces={}\n", delivery.faces->face_px);
  if (delivery.tiles) {
    text += fmt::format("tiles={} tile_px={} quality={}\n", delivery.tiles->face_px,
                        delivery.tiles->tile_px, delivery.tiles->jpeg_quality);
  }
  return text;
}

fs::path light_file(const Delivery& delivery, const fs::path& panorama) {
  return beside_panorama(panorama, "-light." + delivery.light);
}

std::vector<fs::path> known_files(const Delivery& delivery, const fs::path& panorama) {
  std::vector<fs::path> files;
  for (const SizedJpeg& jpeg : delivery.more_jpegs) files.push_back(sized_jpeg(panorama, jpeg));
  if (delivery.exr) files.push_back(linear_exr(panorama));
  return files;
}

Result<std::vector<fs::path>> further_files(const Delivery& delivery, const fs::path& panorama) {
  std::vector<fs::path> files;
  const auto sphere = read_panorama_info(panorama);
  if (!sphere) return tl::unexpected(sphere.error());
  const int width_px = sphere->value_or(PanoramaInfo{}).full_width_px;
  const auto add = [&](const std::vector<fs::path>& more) {
    files.insert(files.end(), more.begin(), more.end());
  };
  if (delivery.faces) add(face_files(width_px, faces_folder(panorama), *delivery.faces));
  if (delivery.tiles) add(tile_files(width_px, tiles_folder(panorama), *delivery.tiles));
  return files;
}

Result<void> deliver_rest(const Delivery& delivery, const fs::path& panorama,
                          const ProgressFn& progress) {
  if (!anything_from_panorama(delivery)) return {};
  const auto picture = read_image(panorama);
  if (!picture) return tl::unexpected(picture.error());
  const auto record = record_of(panorama);
  if (!record) return tl::unexpected(record.error());
  for (const SizedJpeg& jpeg : delivery.more_jpegs) {
    const Deliverables wanted{.jpeg = sized_jpeg(panorama, jpeg),
                              .jpeg_quality = jpeg.quality,
                              .jpeg_width_px = jpeg.width_px};
    if (auto done = deliver(*picture, *record, wanted, progress); !done) return done;
  }
  if (delivery.exr) {
    const Deliverables wanted{.exr = linear_exr(panorama)};
    if (auto done = deliver(*picture, *record, wanted, progress); !done) return done;
  }
  if (delivery.faces) {
    const fs::path folder = faces_folder(panorama);
    if (auto done = write_faces(*picture, folder, *delivery.faces, progress); !done) return done;
  }
  if (!delivery.tiles) return {};
  return write_tiles(*picture, tiles_folder(panorama), *delivery.tiles, progress);
}

}  // namespace seamwright
