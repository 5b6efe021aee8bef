#include "jobs/check/opened_check.h"

namespace seamwright {

Result<ShotCheck> check_shot(const std::string& name, const Shot& shot,
                             const ShotPictures& pictures, ShotCheckOptions options,
                             const ProgressFn& progress) {
  options.seam = seam_options_of(shot);
  if (shot.wishes.level.upright != Upright::leave) options.marked = shot.edits().verticals;
  return check_shot(name, shot.touched_template(), pictures.frames, options, progress);
}

}  // namespace seamwright
