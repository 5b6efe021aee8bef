#include <memory>

#include <nlohmann/json.hpp>

#include "apps/cli/bracket_options.h"
#include "apps/cli/file_options.h"
#include "apps/cli/intake_options.h"
#include "apps/cli/program.h"
#include "apps/cli/stitch_report.h"
#include "apps/cli/wish_options.h"
#include "base/enum_names.h"
#include "jobs/shot/open_shot.h"

namespace seamwright {

namespace {

struct StitchCommand {
  std::string template_file;
  std::vector<std::string> frames;
  IntakeOptions intake;
  BracketOptions brackets;
  WishOptions wish;
  StitchFiles files;
};

constexpr std::string_view kStitchExample =
    "Examples:\n"
    "  seamwright stitch --template lantern.template.yaml front.tif back.tif --out room.tif\n"
    "  seamwright stitch --template lantern.template.yaml both.tif --out room.tif --width 8192 "
    "--jpeg room.jpg\n"
    "  seamwright stitch --template lantern.template.yaml room.shot.yaml --out room.tif\n"
    "  seamwright stitch --template lantern.template.yaml brackets/ --out room.tif --light "
    "room_light.tif\n"
    "\nFinishes with findings (exit 2) when some directions are seen by no lens, or when the "
    "lenses' brightness could not be compared.";

Result<Shot> open(const StitchCommand& command, const Console& console) {
  auto wishes = command.wish.wishes();
  if (!wishes) return tl::unexpected(wishes.error());
  const auto merge = command.brackets.merge_options();
  if (!merge) return tl::unexpected(merge.error());
  wishes->merge = *merge;
  auto grouping = command.brackets.grouping_options();
  if (!grouping) return tl::unexpected(grouping.error());
  ShotRequest request = command.intake.request(command.frames);
  request.several_exposures = true;
  request.grouping = std::move(*grouping);
  return open_shot(request, {.template_file = command.template_file, .wishes = std::move(*wishes)},
                   console.progress());
}

// How light is shown, asked of frames that were made for displays.
Result<void> check_tone(const Shot& shot, const Console& console) {
  const ToneWish& tone = shot.wishes.tone;
  const char* asked = tone.brighter_ev != 0 ? "brighter_ev" : tone.local != 0 ? "local" : nullptr;
  if (asked == nullptr || shot.files.bracketed() || has_look(shot.wishes.look, false)) return {};
  const auto pictures = read_pictures(shot, Exposures::all, console.progress());
  if (!pictures) return tl::unexpected(pictures.error());
  if (pictures->is_light) return {};
  return fail({.kind = ErrorKind::user_input,
               .where = {},
               .field = asked,
               .what = "changes nothing: these frames were made for displays, and stay as they are",
               .remedy = "leave it out, or give 'look' shot"});
}

Result<Outcome> stitch(const StitchCommand& command, const Console& console) {
  const auto shot = open(command, console);
  if (!shot) return tl::unexpected(shot.error());
  if (auto fits = check_tone(*shot, console); !fits) return tl::unexpected(fits.error());
  const auto report = stitch_shot(*shot, command.files, console.progress());
  if (!report) return fail(command.wish.level.in_words(report.error()));
  tell_stitched(console, shot->wishes, command.files, *report);
  if (console.json()) {
    console.answer(stitched_as_json(console, shot->wishes, command.files, *report));
  }
  return report->findings.empty() ? Outcome::done : Outcome::findings;
}

void add_outputs(CLI::App& command, StitchFiles& files) {
  command.add_option("--out", files.out, "Panorama to write: .tif (16-bit), .png, .jpg or .exr")
      ->type_name(value_kind::kNewFile)
      ->required();
  command.add_option("--jpeg", files.jpeg, "Also write a JPEG for the web")
      ->type_name(value_kind::kNewFile);
  command
      .add_option("--save-ribbon", files.save_ribbon,
                  "Folder for pictures of each overlap: both lenses, depth, seam")
      ->type_name(value_kind::kNewFolder);
  command
      .add_option("--layers", files.layers,
                  "Also write a TIFF for retouching: a page for each lens, then each one's mask")
      ->type_name(value_kind::kNewFile);
  command
      .add_option(
          "--light", files.light,
          "Of brackets and linear frames: also keep the panorama as linear light, float .tif "
          "or .exr")
      ->type_name(value_kind::kNewFile);
}

}  // namespace

void add_stitch(Program& program) {
  const auto options = std::make_shared<StitchCommand>();
  CLI::App& command = program.add_command(
      "stitch", "Stitch one shot into an equirectangular panorama", std::string(kStitchExample),
      [options](const Console& console) { return stitch(*options, console); });
  command
      .add_option("--template", options->template_file,
                  "Template of the body; may be left out where a shot file names it")
      ->type_name(value_kind::kFile);
  command
      .add_option("frames", options->frames,
                  "One file per lens, in the template's order; or one file with all lenses; or a "
                  "*.shot.yaml; or all brackets of one shot, as files or as a folder")
      ->type_name(value_kind::kPath)
      ->required();
  add_outputs(command, options->files);
  WishOptions& wish = options->wish;
  wish.add_to(command);
  command
      .add_option("--kernel", wish.kernel,
                  "catmull-rom, or lanczos-3: a little sharper, rings at hard edges")
      ->check(CLI::IsMember(all_of_names(kKernelNames)))
      ->capture_default_str();
  command
      .add_option("--blend-half-width-deg", wish.rest.blend_half_width_deg,
                  "Angle from the seam to where one lens is alone, of plain seams")
      ->capture_default_str();
  command.add_flag("--no-gain-match", wish.no_gain_match,
                   "Keep each lens' brightness and colour as it is");
  options->brackets.add_to(command);
  wish.look.add_to(command);
  add_tone_options(command, wish.rest.tone);
  wish.level.add_to(command, PointsOf::frames);
  add_cover_options(command, wish.rest.cover);
  options->intake.add_to(command);
}

}  // namespace seamwright
