#include <filesystem>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/file_options.h"
#include "apps/cli/level_options.h"
#include "apps/cli/program.h"
#include "apps/cli/wish_options.h"
#include "compose/finish/deliver.h"
#include "compose/finish/floor_view.h"
#include "imaging/read_image.h"
#include "imaging/write_image.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

struct FinishOptions {
  std::string panorama;
  LevelOptions level;
  LevelWish turn;  ///< what `level` says
  bool mirrored = false;
  std::string floor_in;
  std::string floor_out;
  double floor_field_deg = kFloorField_deg;
  CoverWish cover;
  std::string out;
  std::string jpeg;
  std::string exr;
  std::string faces;
  std::string tiles;
  std::string compression = "none";
  int jpeg_quality = 92;
  int jpeg_width = 0;
  int face_px = 0;
  int tile_px = CubeOptions{}.tile_px;
  std::vector<double> latitudes;
  bool strip_location = false;
};

constexpr std::string_view kFinishExample =
    "Examples:\n"
    "  seamwright finish room.tif --level --cover-deg 18 --out room-done.tif --jpeg room.jpg "
    "--jpeg-width 4096\n"
    "  seamwright finish room.tif --floor-out floor.tif        (retouch floor.tif, then)\n"
    "  seamwright finish room.tif --floor-in floor.tif --out room-done.tif\n"
    "\nSteps are done in this order: mirror, level, edited floor, cover, plate; then the files are "
    "written. The panorama itself is never changed. Levelling here resamples once more; 'stitch "
    "--level' does not. Finishes with findings (exit 2) when a step's result should be looked at.";

struct Work {
  Image panorama;
  PanoramaRecord record;
  Levelled levelled;
  FloorReturn floor;
  std::vector<std::string> findings;
};

Error option_error(std::string field, std::string what, std::string remedy) {
  return {
      .where = {}, .field = std::move(field), .what = std::move(what), .remedy = std::move(remedy)};
}

Deliverables deliverables(const FinishOptions& options) {
  Deliverables wanted{.picture = options.out,
                      .jpeg = options.jpeg,
                      .exr = options.exr,
                      .faces = options.faces,
                      .tiles = options.tiles,
                      .jpeg_quality = options.jpeg_quality,
                      .jpeg_width_px = options.jpeg_width};
  if (options.compression == "deflate") wanted.tiff_compression = TiffCompression::deflate;
  if (options.compression == "lzw") wanted.tiff_compression = TiffCompression::lzw;
  wanted.cube.face_px = options.face_px;
  wanted.cube.tile_px = options.tile_px;
  wanted.cube.jpeg_quality = options.jpeg_quality;
  if (options.latitudes.size() == 2) wanted.kept = {options.latitudes[0], options.latitudes[1]};
  return wanted;
}

// The names of those that are asked for.
std::vector<std::string> outputs(const FinishOptions& options) {
  std::vector<std::string> names = {options.out,   options.jpeg,  options.exr,
                                    options.faces, options.tiles, options.floor_out};
  std::erase(names, std::string());
  return names;
}

// Everything that can be refused before a pixel is read.
std::optional<Error> check(const FinishOptions& options) {
  if (auto error = options.cover.validate()) return error;
  if (outputs(options).empty()) {
    return option_error("--out", "nothing to write is named",
                        "give --out, --jpeg, --exr, --faces, --tiles or --floor-out");
  }
  return std::nullopt;
}

Result<Work> open(const FinishOptions& options) {
  auto panorama = read_image(options.panorama);
  if (!panorama) return tl::unexpected(panorama.error());
  if (auto error = check_whole_sphere(*panorama)) {
    error->where = options.panorama;
    return fail(std::move(*error));
  }
  auto info = read_frame_info(options.panorama);
  if (!info) return tl::unexpected(info.error());
  const auto sphere = read_panorama_info(options.panorama);
  if (!sphere) return tl::unexpected(sphere.error());
  Work work;
  work.panorama = std::move(*panorama);
  work.record.info = std::move(*info);
  if (options.strip_location) work.record.info.location.reset();
  work.record.sphere = sphere->value_or(PanoramaInfo{});
  return work;
}

Result<void> turn(Work& work, const FinishOptions& options, const Console& console) {
  if (options.mirrored) work.panorama = mirror_image(work.panorama);
  auto levelled = level_panorama(options.turn, work.panorama);
  if (!levelled) {
    levelled.error().where = options.panorama;
    return fail(options.level.in_words(levelled.error()));
  }
  work.levelled = *levelled;
  double& heading = work.record.sphere.heading_deg;
  heading = options.turn.compass_deg.value_or(heading + options.turn.middle_deg);
  if (!options.turn.turns()) return {};
  auto turned = turn_panorama(work.panorama, levelled->turned_from_source, console.progress());
  if (!turned) return tl::unexpected(turned.error());
  work.panorama = std::move(*turned);
  // Upright now, whatever was said of it before.
  if (levelled->vertical) work.record.sphere.pitch_deg = work.record.sphere.roll_deg = 0.0;
  return {};
}

Result<void> put_floor(Work& work, const FinishOptions& options) {
  if (options.floor_in.empty()) return {};
  const auto edited = read_image(options.floor_in);
  if (!edited) return tl::unexpected(edited.error());
  auto done = put_floor_back(work.panorama, *edited, options.floor_field_deg);
  if (!done) {
    done.error().where = options.floor_in;
    return tl::unexpected(done.error());
  }
  work.floor = *done;
  if (done->edited_px == 0) {
    work.findings.push_back(options.floor_in + ": nothing was edited in it");
  }
  if (done->everything_edited) {
    work.findings.push_back(options.floor_in +
                            ": nearly every pixel differs; is it a view of this panorama, turned "
                            "the same way?");
  }
  return {};
}

Result<void> write_floor(const Work& work, const FinishOptions& options) {
  if (options.floor_out.empty()) return {};
  const auto floor = floor_view(work.panorama, options.floor_field_deg);
  if (!floor) return tl::unexpected(floor.error());
  return write_image(options.floor_out, *floor);
}

nlohmann::json as_json(const Work& work, const FinishOptions& options) {
  nlohmann::json object = {{"command", "finish"},
                           {"panorama", options.panorama},
                           {"width_px", work.panorama.width()},
                           {"height_px", work.panorama.height()},
                           {"written", outputs(options)},
                           {"heading_deg", work.record.sphere.heading_deg},
                           {"location", work.record.info.location.has_value()},
                           {"findings", work.findings}};
  if (options.turn.turns()) object["level"] = level_json(options.turn, work.levelled);
  if (!options.floor_in.empty()) {
    object["floor"] = {{"edited_px", work.floor.edited_px}, {"changed_px", work.floor.changed_px}};
  }
  return object;
}

Result<Outcome> finish(FinishOptions options, const Console& console) {
  auto turn_wish = options.level.wish(PointsOf::panorama);
  if (!turn_wish) return tl::unexpected(turn_wish.error());
  options.turn = std::move(*turn_wish);
  if (auto error = check(options)) return fail(std::move(*error));
  auto work = open(options);
  if (!work) return tl::unexpected(work.error());
  const Deliverables wanted = deliverables(options);
  if (auto error = wanted.check(work->panorama.width())) return fail(std::move(*error));
  if (auto done = turn(*work, options, console); !done) return tl::unexpected(done.error());
  if (auto done = put_floor(*work, options); !done) return tl::unexpected(done.error());
  if (auto done = cover_stand(options.cover, work->panorama, work->findings); !done) {
    return tl::unexpected(done.error());
  }
  if (auto done = write_floor(*work, options); !done) return tl::unexpected(done.error());
  if (auto done = deliver(work->panorama, work->record, wanted, console.progress()); !done) {
    return tl::unexpected(done.error());
  }
  tell_level(console, work->levelled);
  if (!options.floor_in.empty()) {
    console.say(fmt::format("floor: {} pixels edited, {} of the panorama changed",
                            work->floor.edited_px, work->floor.changed_px));
  }
  for (const std::string& name : outputs(options)) console.say("written: " + name);
  for (const std::string& finding : work->findings) console.say("finding: " + finding);
  if (console.json()) console.answer(as_json(*work, options));
  return work->findings.empty() ? Outcome::done : Outcome::findings;
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
      ->check(CLI::IsMember({"none", "lzw", "deflate"}))
      ->capture_default_str();
  command.add_flag("--strip-location", options.strip_location,
                   "Leave out where the picture was taken (GPS)");
}

}  // namespace

void add_finish(Program& program) {
  const auto options = std::make_shared<FinishOptions>();
  CLI::App& command = program.add_command(
      "finish", "Set a panorama upright, retouch its floor, hide the stand, write what people need",
      std::string(kFinishExample),
      [options](const Console& console) { return finish(*options, console); });
  command.add_option("panorama", options->panorama, "Whole equirectangular panorama")
      ->type_name(value_kind::kFile)
      ->required();
  command.add_flag("--mirrored", options->mirrored, "The panorama is mirrored: flip it");
  options->level.add_to(command, PointsOf::panorama);
  command
      .add_option("--floor-out", options->floor_out,
                  "Write the view straight down as a square flat TIFF, for an editor")
      ->type_name(value_kind::kNewFile);
  command
      .add_option("--floor-in", options->floor_in,
                  "Put an edited view back; only what differs is touched")
      ->type_name(value_kind::kFile);
  command.add_option("--floor-field-deg", options->floor_field_deg, "Of that view, edge to edge")
      ->capture_default_str();
  add_cover_options(command, options->cover);
  add_outputs(command, *options);
}

}  // namespace seamwright
