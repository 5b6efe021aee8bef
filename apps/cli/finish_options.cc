#include "apps/cli/finish_options.h"

#include <algorithm>
#include <array>
#include <filesystem>
#include <system_error>

#include <fmt/format.h>

#include "apps/cli/file_options.h"
#include "apps/cli/wish_options.h"
#include "base/enum_names.h"
#include "jobs/finishing/finish_many.h"
#include "jobs/restitch/open_run.h"
#include "jobs/shot/shot_wishes.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

// What is said of one panorama and of no other.
constexpr std::array kOfOne = {"--out",   "--jpeg",      "--exr",      "--faces",
                               "--tiles", "--floor-out", "--floor-in", "--vertical"};
// What makes sense for a folder of panoramas only.
constexpr std::array kOfMany = {"--into", "--write", "--floors"};

template <std::size_t N>
std::string first_given(const CLI::App& command, const std::array<const char*, N>& names) {
  for (const char* name : names) {
    const CLI::Option* option = command.get_option_no_throw(name);
    if (option != nullptr && option->count() > 0) return name;
  }
  return {};
}

bool is_several(const std::string& input) {
  std::error_code code;
  return is_run_file(input) || fs::is_directory(input, code);
}

void add_steps(CLI::App& command, FinishOptions& options) {
  command.add_flag("--mirrored", options.mirrored, "The panorama is mirrored: flip it");
  options.level.add_to(command, PointsOf::panorama);
  command
      .add_option("--floor-out", options.floor_out,
                  "Write the view straight down as a square flat TIFF, for an editor")
      ->type_name(value_kind::kNewFile);
  command
      .add_option("--floor-in", options.floor_in,
                  "Put an edited view back; only what differs is touched")
      ->type_name(value_kind::kFile);
  command.add_option("--floor-field-deg", options.floor_field_deg, "Of that view, edge to edge")
      ->capture_default_str();
  add_glow_option(command, options.glow_removal);
  add_cover_options(command, options.cover);
}

void add_many(CLI::App& command, FinishOptions& options) {
  command
      .add_option("--into", options.into,
                  "Folder for many finished panoramas, each under its own name; made when missing")
      ->type_name(value_kind::kNewFolder);
  command
      .add_option("--write", options.kinds,
                  fmt::format("With --into, what is written of each: {}; tif if not given",
                              fmt::join(kFinishKinds, ", ")))
      ->check(CLI::IsMember(std::vector<std::string>(kFinishKinds.begin(), kFinishKinds.end())));
  command
      .add_option("--floors", options.floors,
                  "With --into, folder of edited floors NAME-floor.tif: each is put back into the "
                  "panorama of that name")
      ->type_name(value_kind::kPath);
}

void add_outputs(CLI::App& command, FinishOptions& options) {
  command.add_option("--out", options.out, "Panorama to write: .tif, .png, .jpg or .exr")
      ->type_name(value_kind::kNewFile);
  command.add_option("--jpeg", options.jpeg, "JPEG for the web to write")
      ->type_name(value_kind::kNewFile);
  command.add_option("--jpeg-width", options.jpeg_width,
                     "Its width in pixels; the panorama's own where not given");
  command.add_option("--jpeg-quality", options.jpeg_quality, "Of every JPEG, 1 to 100")
      ->check(CLI::Range(1, 100))
      ->capture_default_str();
  command.add_option("--exr", options.exr, "OpenEXR to write, linear light")
      ->type_name(value_kind::kNewFile);
  command.add_option("--faces", options.faces, "Folder for six cube faces as TIFF, and cube.json")
      ->type_name(value_kind::kNewFolder);
  command
      .add_option("--tiles", options.tiles,
                  "Folder for cube tiles at several sizes as JPEG, and tiles.json")
      ->type_name(value_kind::kNewFolder);
  command.add_option("--face-px", options.face_px,
                     "Side of a face; as fine as the horizon if not given");
  command.add_option("--tile-px", options.tile_px, "Side of a tile")->capture_default_str();
  command
      .add_option("--keep-latitudes-deg", options.latitudes,
                  "Write only rows between two latitudes, lower one first, e.g. -60 90")
      ->expected(2);
  command.add_option("--compression", options.compression, "Of the TIFF: none, lzw, deflate")
      ->check(CLI::IsMember(all_of_names(kCompressionNames)))
      ->capture_default_str();
  command.add_flag("--strip-location", options.strip_location,
                   "Leave out where the picture was taken (GPS)");
}

}  // namespace

void FinishOptions::add_to(CLI::App& to) {
  command = &to;
  to.add_option("panorama", inputs,
                "Whole equirectangular panorama; with --into several of them, folders of "
                "panoramas, and *.run.yaml for those of its shots")
      ->type_name(value_kind::kPath)
      ->required();
  add_steps(to, *this);
  add_outputs(to, *this);
  add_many(to, *this);
}

bool FinishOptions::is_many() const {
  return inputs.size() > 1 || is_several(inputs.front()) || !first_given(*command, kOfMany).empty();
}

std::optional<Error> FinishOptions::check_many() const {
  if (into.empty()) {
    return Error{.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "--into",
                 .what = "no folder to write to",
                 .remedy = "give --into FOLDER, or one panorama alone"};
  }
  const std::string alone = first_given(*command, kOfOne);
  if (alone.empty()) return std::nullopt;
  return Error{.kind = ErrorKind::user_input,
               .where = {},
               .field = alone,
               .what = "is of one panorama, and --into is for many",
               .remedy = alone == "--floor-in" ? "give --floors in its place"
                                               : "leave it out; --write says what is written"};
}

Result<FinishWish> FinishOptions::wish() const {
  auto turn = level.wish(PointsOf::panorama);
  if (!turn) return tl::unexpected(turn.error());
  return FinishWish{.mirrored = mirrored,
                    .glow_removal = glow_removal,
                    .turn = std::move(*turn),
                    .floor_in = floor_in,
                    .floor_field_deg = floor_field_deg,
                    .cover = cover,
                    .keep_location = !strip_location};
}

Deliverables FinishOptions::numbers() const {
  Deliverables wanted{.jpeg_quality = jpeg_quality, .jpeg_width_px = jpeg_width};
  wanted.tiff_compression = *enum_of<TiffCompression>(kCompressionNames, compression);
  wanted.cube.face_px = face_px;
  wanted.cube.tile_px = tile_px;
  wanted.cube.jpeg_quality = jpeg_quality;
  if (latitudes.size() == 2) wanted.kept = {latitudes[0], latitudes[1]};
  return wanted;
}

}  // namespace seamwright
