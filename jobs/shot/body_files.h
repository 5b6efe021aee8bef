#pragma once

// What a template says of its body's files: how the lenses lie in them, which way they are turned,
// which EXIF lens is which. Whoever opens a shot need not say it again.

#include <vector>

#include "base/result.h"
#include "jobs/shot/shot_files.h"
#include "templates/rig_template.h"

namespace seamwright {

/// The files as they are read under a template. What was said of this very shot comes first: a
/// layout, quarter turns. Frames whose EXIF names all lenses of the template are put in its order,
/// but not those of a shot file, whose order somebody wrote down.
void take_body_files(ShotFiles& files, const RigTemplate& body);

/// What shots of one body tell of it: what all of them have in common. Reads EXIF.
[[nodiscard]] BodyFiles body_files_of(const std::vector<ShotFiles>& shots);

}  // namespace seamwright
