#pragma once

// What a template says of its body's files: how the lenses lie in them, which way they are turned,
// which EXIF lens is which. Whoever opens a shot need not say it again.

#include <span>
#include <string>
#include <vector>

#include "base/result.h"
#include "imaging/frame.h"
#include "jobs/shot/shot_files.h"
#include "templates/rig_template.h"

namespace seamwright {

/// The files as they are read under a template. What was said of this very shot comes first: a
/// layout, quarter turns. Frames whose EXIF names all lenses of the template are put in its order,
/// but not those of a shot file, whose order somebody wrote down.
void take_body_files(ShotFiles& files, const RigTemplate& body);

/// Whether frames with this serial number of the body are of the template's: by the number that the
/// template holds; where it holds none, by its label, which then has the number as a word of its
/// own: "Lantern 0117" is the label of number 0117, and of no other.
[[nodiscard]] bool has_serial(const RigTemplate& body, const std::string& serial);

/// That frames, one a lens, carry other serial numbers than the template was learned with; empty
/// where they carry the same or none. A number may be missing or wrong: this is evidence only.
[[nodiscard]] std::string other_serials(const BodyFiles& body, std::span<const Frame> frames);

/// What shots of one body tell of it: what all of them have in common. Reads EXIF.
[[nodiscard]] BodyFiles body_files_of(const std::vector<ShotFiles>& shots);

}  // namespace seamwright
