#include "solver/touch.h"

#include <chrono>
#include <cmath>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/file_options.h"
#include "apps/cli/intake_options.h"
#include "apps/cli/program.h"
#include "apps/cli/tie_text.h"
#include "apps/cli/touch_report.h"
#include "base/file.h"
#include "features/ties.h"
#include "jobs/shot/open_shot.h"
#include "templates/frame_scale.h"

namespace seamwright {

namespace {

struct TouchCommandOptions {
  std::string template_file;
  std::vector<std::string> frames;
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
    "\nOne tie already helps; where no tie speaks the template stands. Points beyond 10 m marked "
    "far tell most: they alone show a tilt between the lenses. Stitch the shot file afterwards. "
    "Finishes with findings (exit 2) when a tie looks wrong or the touch contradicts the template.";

// With the ties of the command line.
Result<Shot> open(const TouchCommandOptions& options) {
  auto shot = open_shot(options.intake.request(options.frames),
                        {.template_file = options.template_file, .old_touch = OldTouch::replaced});
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

// Every sight of a hand must lie where its lens sees; said in the frame's pixels.
std::optional<Error> check_sights(const Rig& rig, const std::vector<ManualTie>& ties,
                                  double scale) {
  for (std::size_t i = 0; i < ties.size(); ++i) {
    for (const ManualSight& sight : ties[i].sights) {
      const Lens& lens = rig.lenses[static_cast<std::size_t>(sight.lens)].lens;
      if (lens.unproject(sight.px * scale)) continue;
      return Error{.kind = ErrorKind::user_input,
                   .where = {},
                   .field = fmt::format("tie {}", i + 1),
                   .what = fmt::format("{:g}, {:g} px lies outside the field of view of lens {}",
                                       sight.px.x(), sight.px.y(), sight.lens),
                   .remedy = "set it inside that lens' image circle"};
    }
  }
  return std::nullopt;
}

Result<std::vector<Tie>> find_automatic(const ShotPictures& pictures,
                                        const std::string& shot_name) {
  std::vector<Image> images;
  for (const Frame& frame : pictures.frames) images.push_back(frame.image);
  auto found = find_ties(images, pictures.rig, 0, TieOptions::of_knocked_body());
  if (!found) return tl::unexpected(found.error());
  const int matched = found->report.matched();
  const int consistent = found->report.consistent();
  const auto kept = static_cast<int>(found->ties.size());
  if (found->fit_together()) return std::move(found->ties);
  return fail(
      {.kind = ErrorKind::numeric,
       .where = "shot " + shot_name,
       .field = "--auto",
       .what = fmt::format("the frames do not fit together: {} of {} matches agree, {} ties are "
                           "left, {} are needed",
                           consistent, matched, kept, TieSet::kFewest),
       .remedy = "check that they are of one shot and in the template's order (front, back), or "
                 "give --tie instead of --auto"});
}

Result<TouchReport> solve(const TouchCommandOptions& options, const Shot& shot,
                          const Console& console) {
  const auto pictures = read_pictures(shot, Exposures::middle, console.progress());
  if (!pictures) return tl::unexpected(pictures.error());
  const RigTemplate& body = shot.body.rig_template;
  const Frame& first = pictures->frames.front();
  const auto scale = template_scale(body.rig(), first.image, first.info.file);
  if (!scale) return tl::unexpected(scale.error());
  const std::vector<ManualTie>& manual = shot.edits().manual_ties;
  if (auto error = check_sights(body.rig(), manual, *scale)) return fail(std::move(*error));
  TouchReport report{.shot_file = options.out,
                     .template_file = shot.body.file.string(),
                     .ties = {},
                     .manual = manual.size(),
                     .result = {},
                     .solve_ms = 0};
  for (const ManualTie& tie : manual) report.ties.push_back(scaled_tie(tie.as_tie(0), *scale));
  if (options.automatic) {
    const auto progress = console.progress();
    if (!tell(progress, "matching", 0)) {
      return fail({.kind = ErrorKind::cancelled, .what = "stopped"});
    }
    auto automatic = find_automatic(*pictures, shot.name());
    if (!automatic) return tl::unexpected(automatic.error());
    for (Tie& tie : *automatic) report.ties.push_back(scaled_tie(std::move(tie), *scale));
  }
  const auto begin = std::chrono::steady_clock::now();
  auto touched = touch(body.rig(), body.solution.covariance, body.solution.quality.flex_sigma_rad,
                       report.ties);
  if (!touched) return tl::unexpected(touched.error());
  report.solve_ms =
      std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - begin).count();
  report.result = std::move(*touched);
  return report;
}

Result<Outcome> run_touch(const TouchCommandOptions& options, const Console& console) {
  if (!is_shot_file(options.out)) {
    return fail({.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "--out",
                 .what = fmt::format("'{}' is no name of a shot file", options.out),
                 .remedy = "give a name that ends in .shot.yaml"});
  }
  const auto shot = open(options);
  if (!shot) return tl::unexpected(shot.error());
  auto file = document_at(*shot, options.out);
  if (!file) return tl::unexpected(file.error());
  const auto report = solve(options, *shot, console);
  if (!report) return tl::unexpected(report.error());
  const TouchResult& result = report->result;
  if (!result.step.isZero(0)) {
    file->touch = ShotTouch{result.names, {result.step.begin(), result.step.end()}};
  }
  if (auto written = write_shot_file(options.out, *file); !written) {
    return tl::unexpected(written.error());
  }
  tell_touch(console, *report);
  console.say(fmt::format("{}: stitch it with 'seamwright stitch {} --out PANORAMA.tif'",
                          options.out, options.out));
  if (console.json()) console.answer(touch_as_json(*report));
  return result.findings.empty() ? Outcome::done : Outcome::findings;
}

}  // namespace

void add_touch(Program& program) {
  const auto options = std::make_shared<TouchCommandOptions>();
  CLI::App& command = program.add_command(
      "touch", "Correct one shot with a few ties, the template as prior",
      std::string(kTouchExample),
      [options](const Console& console) { return run_touch(*options, console); });
  command
      .add_option("--template", options->template_file,
                  "Template of the body; may be left out where a shot file names it")
      ->type_name(value_kind::kFile);
  command
      .add_option("frames", options->frames,
                  "One file per lens, in the template's order; or one file with all lenses; or a "
                  "*.shot.yaml, whose ties are kept")
      ->type_name(value_kind::kFile)
      ->required();
  command
      .add_option("--tie", options->ties,
                  "The same point in two lenses, \"LENS:U,V LENS:U,V [near|far|open] "
                  "[sigma=0.5]\", in pixels of the upright frames, (0,0) the outer corner of the "
                  "top-left one; far: beyond 10 m; repeat for every tie")
      ->allow_extra_args(false);
  command.add_flag("--auto", options->automatic, "Find ties in the frames as well");
  command.add_option("--out", options->out, "Shot file to write, *.shot.yaml")
      ->type_name(value_kind::kShotFile)
      ->required();
  options->intake.add_to(command);
}

}  // namespace seamwright
