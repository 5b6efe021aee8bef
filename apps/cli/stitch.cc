#include <memory>

#include "apps/cli/file_options.h"
#include "apps/cli/program.h"
#include "apps/cli/stitch_job.h"

namespace seamwright {

namespace {

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

Result<Outcome> stitch(const StitchOptions& options, const Console& console) {
  const auto findings = stitch_shot(options, console);
  if (!findings) return tl::unexpected(findings.error());
  return findings->empty() ? Outcome::done : Outcome::findings;
}

}  // namespace

void add_stitch(Program& program) {
  const auto options = std::make_shared<StitchOptions>();
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
  command.add_option("--out", options->out, "Panorama to write: .tif (16-bit), .png, .jpg or .exr")
      ->type_name(value_kind::kNewFile)
      ->required();
  command
      .add_option("--width", options->width,
                  "Width in pixels, or native: as fine as the lenses resolve")
      ->capture_default_str();
  command.add_option("--jpeg", options->jpeg, "Also write a JPEG for the web")
      ->type_name(value_kind::kNewFile);
  command.add_option("--jpeg-quality", options->jpeg_quality, "1 to 100")
      ->check(CLI::Range(1, 100))
      ->capture_default_str();
  command.add_option("--jpeg-width", options->jpeg_width,
                     "Width of that JPEG in pixels; the panorama's own where not given");
  command.add_flag("--strip-location", options->strip_location,
                   "Leave out where the frames were taken (GPS)");
  command.add_option("--compression", options->compression, "Of the TIFF: none, lzw, deflate")
      ->check(CLI::IsMember({"none", "lzw", "deflate"}))
      ->capture_default_str();
  command
      .add_option("--kernel", options->kernel,
                  "catmull-rom, or lanczos-3: a little sharper, rings at hard edges")
      ->check(CLI::IsMember({"catmull-rom", "lanczos-3"}))
      ->capture_default_str();
  command
      .add_option("--blend-half-width-deg", options->blend_half_width_deg,
                  "Angle from the seam to where one lens is alone, of plain seams")
      ->capture_default_str();
  command
      .add_option("--seam", options->seam,
                  "depth: near objects join at the seam; plain: as if everything were far")
      ->check(CLI::IsMember({"depth", "plain"}))
      ->capture_default_str();
  command
      .add_option("--save-ribbon", options->save_ribbon,
                  "Folder for pictures of each overlap: both lenses, depth, seam")
      ->type_name(value_kind::kNewFolder);
  command
      .add_option("--layers", options->layers,
                  "Also write a TIFF for retouching: a page for each lens, then each one's mask")
      ->type_name(value_kind::kNewFile);
  command.add_flag("--no-gain-match", options->no_gain_match,
                   "Keep each lens' brightness and colour as it is");
  command
      .add_option("--light", options->light,
                  "Of brackets: also keep the panorama as linear light, float .tif")
      ->type_name(value_kind::kNewFile);
  options->brackets.add_to(command);
  options->tone.add_to(command);
  options->level.add_to(command, false);
  options->cover.add_to(command);
  options->intake.add_to(command);
}

}  // namespace seamwright
