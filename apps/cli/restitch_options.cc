#include "apps/cli/restitch_options.h"

#include <array>

#include "apps/cli/file_options.h"
#include "apps/cli/intake_options.h"

namespace seamwright {

namespace {

Error not_both(const std::string& run_file, const std::string& option) {
  return {.kind = ErrorKind::user_input,
          .where = run_file,
          .field = option,
          .what = "is said by the run file",
          .remedy = "say it there"};
}

// All that goes into RunRequest, but for --no-level.
constexpr std::array kSaidByRunFile = {
    "--out",          "--template", "--names",          "--width",          "--seam",
    "--compression",  "--jpeg",     "--jpeg-width",     "--jpeg-quality",   "--more-jpegs",
    "--light",        "--exr",      "--faces",          "--tiles",          "--face-px",
    "--tile-px",      "--look",     "--room-ev",        "--cast-ev",        "--warmer-ev",
    "--brighter-ev",  "--local",    "--level",          "--middle-deg",     "--compass-deg",
    "--cover-deg",    "--plate",    "--plate-deg",      "--strip-location", "--pattern",
    "--glow-removal", "--rest-s",   "--frames-per-shot"};

// The first of them that is given beside a run file.
std::optional<Error> given_beside_run_file(const RestitchOptions& options) {
  for (const char* name : kSaidByRunFile) {
    const CLI::Option* option = options.command->get_option_no_throw(name);
    if (option != nullptr && option->count() > 0) return not_both(options.inputs.front(), name);
  }
  return std::nullopt;
}

// What may be said beside a run file, of all of its shots.
void adjust(ShotWishes& wishes, const RestitchOptions& options) {
  if (options.wish.level.no_level) wishes.level.upright = Upright::leave;
  if (options.wish.rest.anyway) wishes.anyway = true;
  if (options.wish.no_touch) wishes.touch_knocked = false;
}

// The command line knows the machine better than the file.
void adjust(RunBudget& budget, const RunBudget& given) {
  if (given.shots > 0) budget.shots = given.shots;
  if (given.memory_gib > 0) budget.memory_gib = given.memory_gib;
}

Delivery delivery_of(const RestitchOptions& options) {
  Delivery delivery = options.delivery;
  const int quality = options.wish.rest.jpeg_quality;
  for (const int width_px : options.more_jpegs) delivery.more_jpegs.push_back({width_px, quality});
  if (options.faces) delivery.faces = CubeOptions{.face_px = options.cube.face_px};
  if (options.tiles) {
    delivery.tiles = options.cube;
    delivery.tiles->jpeg_quality = quality;
  }
  return delivery;
}

void add_delivery_options(CLI::App& command, RestitchOptions& options) {
  command
      .add_option("--names", options.delivery.names,
                  "Pattern of the outputs' names, e.g. house_{name}")
      ->capture_default_str();
  command.add_option("--more-jpegs", options.more_jpegs,
                     "Widths of further JPEGs, NAME-WIDTH.jpg, e.g. --more-jpegs 4096 2048");
  command
      .add_option("--light", options.delivery.light,
                  "Of brackets, also write the panorama as light: NAME-light.tif or .exr")
      ->check(CLI::IsMember({"tif", "exr"}));
  command.add_flag("--exr", options.delivery.exr,
                   "Also write each finished panorama as NAME.exr, linear light");
  command.add_flag("--faces", options.faces, "Also write six cube faces as TIFF, into NAME-faces/");
  command.add_flag("--tiles", options.tiles,
                   "Also write cube tiles at several sizes as JPEG, into NAME-tiles/");
  command.add_option("--face-px", options.cube.face_px,
                     "Side of a face; as fine as the horizon if not given");
  command.add_option("--tile-px", options.cube.tile_px, "Side of a tile")->capture_default_str();
}

}  // namespace

bool by_run_file(const RestitchOptions& options) {
  return options.inputs.size() == 1 && is_run_file(options.inputs.front());
}

void add_run_options(CLI::App& command, RestitchOptions& options) {
  WishOptions& wish = options.wish;
  BracketOptions& brackets = options.brackets;
  command
      .add_option("--template", options.templates,
                  "Template of the body; of several, each shot takes the one that fits")
      ->type_name(value_kind::kFile)
      ->allow_extra_args(false);
  command.add_option("--out", options.out, "Folder for the panoramas; made when missing")
      ->type_name(value_kind::kNewFolder);
  command.add_flag("--jpeg", options.jpeg, "Also write a JPEG beside each panorama");
  wish.add_to(command);
  wish.look.add_to_run(command);
  add_tone_options(command, wish.rest.tone);
  command.add_flag("--level", wish.level.level, "Set each panorama upright");
  command.add_flag("--no-level", wish.level.no_level,
                   "Leave each as the body stood, also where a shot file marks upright edges");
  command.add_option("--middle-deg", wish.level.middle_deg,
                     "Longitude that becomes the middle of each panorama");
  command.add_option("--compass-deg", wish.level.compass_deg,
                     "Bearing of the finished middle, 0 north");
  add_cover_options(command, wish.rest.cover);
  add_delivery_options(command, options);
  command.add_option("--pattern", brackets.pattern,
                     "Regular expression over file names with named groups shot, lens, ev, frame; "
                     "overrides EXIF");
  command.add_option("--rest-s", brackets.grouping.rest_s, "Rest between two shots, seconds")
      ->capture_default_str();
  command.add_option("--frames-per-shot", brackets.grouping.frames_per_shot,
                     "Frames of each lens in each shot, where there is no rest between shots");
}

Result<RunRequest> run_request(const RestitchOptions& options) {
  auto wishes = options.wish.wishes();
  if (!wishes) return tl::unexpected(wishes.error());
  if (by_run_file(options)) {
    if (auto error = given_beside_run_file(options)) return fail(std::move(*error));
    auto request = read_run_request(options.inputs.front());
    if (!request) return request;
    adjust(request->wishes, options);
    for (NamedShot& shot : request->named) adjust(shot.wishes, options);
    adjust(request->budget, options.budget);
    return request;
  }
  if (options.out.empty()) {
    return fail({.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "--out",
                 .what = "no folder to write to",
                 .remedy = "give --out FOLDER, or one *.run.yaml that says it"});
  }
  auto grouping = options.brackets.grouping_options();
  if (!grouping) return tl::unexpected(grouping.error());
  return RunRequest{.shots = as_paths(options.inputs),
                    .templates = as_paths(options.templates),
                    .out = options.out,
                    .wishes = std::move(*wishes),
                    .grouping = std::move(*grouping),
                    .jpeg = options.jpeg,
                    .named = {},
                    .delivery = delivery_of(options),
                    .budget = options.budget};
}

}  // namespace seamwright
