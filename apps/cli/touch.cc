#include <memory>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/file_options.h"
#include "apps/cli/intake_options.h"
#include "apps/cli/program.h"
#include "apps/cli/tie_text.h"
#include "apps/cli/touch_many.h"
#include "apps/cli/touch_report.h"
#include "jobs/shot/open_shot.h"
#include "jobs/shot/touch_shot.h"

namespace seamwright {

namespace {

struct TouchCommandOptions {
  std::vector<std::string> templates;
  std::vector<std::string> frames;  ///< of one shot; without `out` whatever holds shots
  std::vector<std::string> ties;
  IntakeOptions intake;
  bool automatic = false;
  std::string out;
};

constexpr std::string_view kTouchExample =
    "Examples:\n"
    "  seamwright touch --template lantern.template.yaml front.tif back.tif --out room.shot.yaml "
    "--tie \"0:1893.5,1010 1:104,1004.5 far\" --tie \"0:1002,84 1:998,77.5\"\n"
    "  seamwright touch --template lantern.template.yaml front.tif back.tif --auto --out "
    "room.shot.yaml\n"
    "  seamwright touch room.shot.yaml --tie \"0:95,990 1:1899,1001 near sigma=1\" --out "
    "room.shot.yaml\n"
    "  seamwright touch --template lantern.template.yaml rooms/\n"
    "\nWithout --out every shot of the files, folders and run files is tested, and touched by "
    "itself where its body was knocked or where its touch is another template's: the shot file is "
    "updated, or NAME.shot.yaml is written beside the frames. A shot that fits is left as it is; "
    "one that cannot be touched is named and left out.\n"
    "One tie already helps; where no tie speaks the template stands. Points beyond 10 m marked "
    "far tell most: they alone show a tilt between the lenses. Stitch the shot file afterwards. "
    "Finishes with findings (exit 2) when a tie looks wrong or the touch contradicts the template, "
    "or "
    "when a shot failed, and with 1 when all of them failed.";

// With the ties of the command line.
Result<Shot> open(const TouchCommandOptions& options) {
  auto shot =
      open_shot(options.intake.request(options.frames),
                {.template_file = options.templates.empty() ? "" : options.templates.front(),
                 .old_touch = OldTouch::replaced});
  if (!shot) return shot;
  const int lens_count = shot->rig.lens_count();
  if (shot->files.intake.lens_count != lens_count) {
    return fail({.kind = ErrorKind::user_input,
                 .where = options.frames.front(),
                 .field = "lens_count",
                 .what = fmt::format("{} lenses, the template has {}",
                                     shot->files.intake.lens_count, lens_count),
                 .remedy = "give the template of this body"});
  }
  for (const std::string& text : options.ties) {
    auto tie = parse_tie(text, lens_count);
    if (!tie) return tl::unexpected(tie.error());
    shot->files.document.manual_ties.push_back(std::move(*tie));
  }
  return shot;
}

Result<Outcome> touch_one(const TouchCommandOptions& options, const Console& console) {
  if (!is_shot_file(options.out)) {
    return fail({.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "--out",
                 .what = fmt::format("'{}' is no name of a shot file", options.out),
                 .remedy = "give a name that ends in .shot.yaml"});
  }
  if (options.templates.size() > 1) {
    return fail({.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "--template",
                 .what = fmt::format("{} of them for one shot", options.templates.size()),
                 .remedy = "give that of its body"});
  }
  const auto shot = open(options);
  if (!shot) return tl::unexpected(shot.error());
  // Refused across drives before any work.
  if (auto document = document_at(*shot, options.out); !document) {
    return tl::unexpected(document.error());
  }
  const auto pictures = read_pictures(*shot, Exposures::middle, console.progress());
  if (!pictures) return tl::unexpected(pictures.error());
  auto report = solve_touch(*shot, *pictures, options.automatic, console.progress());
  if (!report) return tl::unexpected(report.error());
  report->shot_file = options.out;
  const auto document = touched_document(*shot, report->result, options.out);
  if (!document) return tl::unexpected(document.error());
  if (auto written = write_shot_file(options.out, *document); !written) {
    return tl::unexpected(written.error());
  }
  tell_touch(console, *report);
  console.say(fmt::format("{}: stitch it with 'seamwright stitch {} --out PANORAMA.tif'",
                          options.out, options.out));
  if (console.json()) console.answer(touch_as_json(*report));
  return report->result.findings.empty() ? Outcome::done : Outcome::findings;
}

Result<Outcome> run_touch(const TouchCommandOptions& options, const Console& console) {
  if (!options.out.empty()) return touch_one(options, console);
  if (!options.ties.empty()) {
    return fail({.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "--tie",
                 .what = "is of one shot",
                 .remedy = "give --out, the shot file to write"});
  }
  return touch_many({.inputs = as_paths(options.frames),
                     .templates = as_paths(options.templates),
                     .intake = options.intake.request({})},
                    console);
}

}  // namespace

void add_touch(Program& program) {
  const auto options = std::make_shared<TouchCommandOptions>();
  CLI::App& command = program.add_command(
      "touch", "Correct shots with a few ties, the template as prior", std::string(kTouchExample),
      [options](const Console& console) { return run_touch(*options, console); });
  command
      .add_option("--template", options->templates,
                  "Template of the body; may be left out where a shot file names it; of several, "
                  "each shot takes the one that fits")
      ->type_name(value_kind::kFile)
      ->allow_extra_args(false);
  command
      .add_option("frames", options->frames,
                  "One file per lens, in the template's order; or one file with all lenses; or a "
                  "*.shot.yaml, whose ties are kept; without --out also folders, frames and shot "
                  "files of several shots, and *.run.yaml")
      ->type_name(value_kind::kPath)
      ->required();
  command
      .add_option("--tie", options->ties,
                  "The same point in two lenses, \"LENS:U,V LENS:U,V [near|far|open] "
                  "[sigma=0.5]\", in pixels of the upright frames, (0,0) the outer corner of the "
                  "top-left one; far: beyond 10 m; repeat for every tie")
      ->allow_extra_args(false);
  command.add_flag("--auto", options->automatic, "Find ties in the frames as well");
  command
      .add_option(
          "--out", options->out,
          "Shot file to write, *.shot.yaml, of one shot; without it each shot that needs it "
          "is touched, and its own shot file updated")
      ->type_name(value_kind::kShotFile);
  options->intake.add_to(command);
}

}  // namespace seamwright
