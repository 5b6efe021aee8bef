#include "solver/touch.h"

#include <chrono>
#include <cmath>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/file_options.h"
#include "apps/cli/program.h"
#include "apps/cli/shot_input.h"
#include "apps/cli/shot_template.h"
#include "apps/cli/tie_text.h"
#include "apps/cli/touch_report.h"
#include "base/file.h"
#include "features/ties.h"
#include "templates/frame_scale.h"

namespace seamwright {
namespace fs = std::filesystem;

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

// The shot as it will be written, its files as they are read, and the template both belong to.
struct Opened {
  ShotTemplate body;
  ShotInput input;
  ShotFile shot;
};

std::optional<Error> set_paths(const std::string& out, Opened& opened) {
  opened.shot.frames.clear();
  for (const fs::path& file : opened.input.files) {
    auto relative = seen_from_shot_file(file, out);
    if (!relative) return relative.error();
    opened.shot.frames.push_back(std::move(*relative));
  }
  auto relative = seen_from_shot_file(opened.body.file, out);
  if (!relative) return relative.error();
  opened.shot.rig_template = TemplateReference{std::move(*relative), opened.body.sha256};
  return std::nullopt;
}

Result<Opened> open(const TouchCommandOptions& options) {
  auto body = open_shot_template(options.template_file, options.frames, OldTouch::replaced);
  if (!body) return tl::unexpected(body.error());
  auto input =
      open_shot_input(options.frames, options.intake, body->rig_template.rig().lens_count());
  if (!input) return tl::unexpected(input.error());
  Opened opened{.body = std::move(*body), .input = std::move(*input), .shot = {}};
  if (opened.body.shot) opened.shot = *opened.body.shot;
  opened.shot.intake = opened.input.intake;
  opened.input.intake.mirrored = opened.input.intake.mirrored || opened.body.rig_template.mirrored;
  if (auto error = set_paths(options.out, opened)) return fail(std::move(*error));
  const int lens_count = opened.body.rig_template.rig().lens_count();
  if (opened.shot.intake.lens_count != lens_count) {
    return fail({.kind = ErrorKind::user_input,
                 .where = options.frames.front(),
                 .field = "lens_count",
                 .what = fmt::format("{} lenses, the template has {}",
                                     opened.shot.intake.lens_count, lens_count),
                 .remedy = "give the template of this body"});
  }
  for (const std::string& text : options.ties) {
    auto tie = parse_tie(text, lens_count);
    if (!tie) return tl::unexpected(tie.error());
    opened.shot.manual_ties.push_back(std::move(*tie));
  }
  return opened;
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

Result<std::vector<Tie>> find_automatic(const Rig& rig, const std::vector<Frame>& frames,
                                        const std::string& shot_name) {
  std::vector<Image> images;
  for (const Frame& frame : frames) images.push_back(frame.image);
  auto found = find_ties(images, rig.scaled_to(images[0].width(), images[0].height()), 0,
                         TieOptions::of_knocked_body());
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

Result<TouchReport> solve(const TouchCommandOptions& options, const Opened& opened,
                          const Console& console) {
  const auto frames = read_shot(opened.input.files, opened.input.intake);
  if (!frames) return tl::unexpected(frames.error());
  const RigTemplate& body = opened.body.rig_template;
  const auto scale = template_scale(body.rig(), frames->front().image, frames->front().info.file);
  if (!scale) return tl::unexpected(scale.error());
  if (auto error = check_sights(body.rig(), opened.shot.manual_ties, *scale)) {
    return fail(std::move(*error));
  }
  TouchReport report{.shot_file = options.out,
                     .template_file = opened.body.file,
                     .ties = {},
                     .manual = opened.shot.manual_ties.size(),
                     .result = {},
                     .solve_ms = 0};
  for (const ManualTie& tie : opened.shot.manual_ties) {
    report.ties.push_back(scaled_tie(tie.as_tie(0), *scale));
  }
  if (options.automatic) {
    const auto progress = console.progress();
    if (!tell(progress, "matching", 0)) {
      return fail({.kind = ErrorKind::cancelled, .what = "stopped"});
    }
    auto automatic = find_automatic(body.rig(), *frames, opened.input.name);
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
  auto opened = open(options);
  if (!opened) return tl::unexpected(opened.error());
  const auto report = solve(options, *opened, console);
  if (!report) return tl::unexpected(report.error());
  const TouchResult& result = report->result;
  if (!result.step.isZero(0)) {
    opened->shot.touch = ShotTouch{result.names, {result.step.begin(), result.step.end()}};
  }
  if (auto written = write_shot_file(options.out, opened->shot); !written) {
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
