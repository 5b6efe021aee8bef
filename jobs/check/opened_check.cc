#include "jobs/check/opened_check.h"

#include "jobs/shot/shot_fit.h"

namespace seamwright {

namespace {

// The template as the shot is stitched with it: a sure knock is touched.
Result<RigTemplate> stitched_template(const Shot& shot, const ShotPictures& pictures) {
  RigTemplate body = shot.touched_template();
  if (!shot.wishes.touch_knocked || shot.edits().touch) return body;
  const auto fit = fit_shot(body, pictures.frames);
  if (!fit) return tl::unexpected(fit.error());
  if (fit->verdict == FitVerdict::knocked) body.solution.rig = *fit->touched_rig;
  return body;
}

}  // namespace

Result<ShotCheck> check_shot(const std::string& name, const Shot& shot,
                             const ShotPictures& pictures, ShotCheckOptions options,
                             const ProgressFn& progress) {
  options.seam = seam_options_of(shot);
  if (shot.wishes.level.upright != Upright::leave) options.marked = shot.edits().verticals;
  if (!options.as_stitched) {
    return check_shot(name, shot.touched_template(), pictures.frames, options, progress);
  }
  const auto body = stitched_template(shot, pictures);
  if (!body) return tl::unexpected(body.error());
  return check_shot(name, *body, pictures.frames, options, progress);
}

}  // namespace seamwright
