#include "apps/cli/check_run.h"

#include <utility>

#include "apps/cli/check_page.h"
#include "apps/cli/shot_template.h"
#include "jobs/check/panorama_check.h"

namespace seamwright {

namespace {

Result<Checked> checked_panorama(const CheckInput& input) {
  auto found = check_panorama(input.panorama);
  if (!found) return tl::unexpected(found.error());
  return Checked{.found = std::move(*found)};
}

Result<Checked> checked_shot(const CheckInput& input, const CheckRunOptions& options,
                             const Console& console) {
  std::vector<std::string> arguments;
  if (!input.shot_file.empty()) arguments.push_back(input.shot_file.string());
  auto opened = open_shot_template(options.template_file, arguments);
  if (!opened) return tl::unexpected(opened.error());
  RigTemplate body = std::move(opened->rig_template);
  if (opened->shot && opened->shot->touch) {
    auto touched = touched_rig(body.rig(), *opened->shot->touch);
    if (!touched) return tl::unexpected(touched.error());
    body.solution.rig = std::move(*touched);
  }
  FrameIntake intake = input.intake;
  intake.mirrored = intake.mirrored || body.mirrored || options.mirrored;
  const auto frames = read_shot(input.frames, intake);
  if (!frames) return tl::unexpected(frames.error());
  ShotCheckOptions check = options.check;
  if (opened->shot) check.seam = seam_options_of(*opened->shot);
  if (opened->shot && options.heeds_marks) check.marked = opened->shot->verticals;
  auto checked = check_shot(input.name, body, *frames, check, console.progress());
  if (!checked) return tl::unexpected(checked.error());
  Checked result{.found = checked->found};
  if (options.picture) result.picture = picture_of_worst(body.rig(), *frames, result.found);
  result.shot = std::move(*checked);
  return result;
}

Checked failed_check(const CheckInput& input, const Error& error) {
  return {.found = {.name = input.name, .findings = {}}, .failure = error.line()};
}

}  // namespace

Result<Checked> check_input(const CheckInput& input, const CheckRunOptions& options,
                            const Console& console) {
  if (input.failure) return failed_check(input, *input.failure);
  auto checked =
      input.panorama.empty() ? checked_shot(input, options, console) : checked_panorama(input);
  if (checked || checked.error().kind == ErrorKind::cancelled) return checked;
  return failed_check(input, checked.error());
}

}  // namespace seamwright
