#pragma once

// Whether a panorama is up to date is told by what it is made from: the bytes of its files, and
// this text of everything else. The text is made from the fields of the values themselves
// (fields.h), so that none can be forgotten.

#include <string>
#include <vector>

#include "jobs/shot/shot_files.h"
#include "jobs/shot/shot_wishes.h"

namespace seamwright {

/// Every wish that is not as ShotWishes{} has it: "name=value", one a line. What a default means
/// never changes: a new behaviour is a new wish, and panoramas made before stay up to date. Of
/// files only the names stand here.
[[nodiscard]] std::string text_of(const ShotWishes& wishes);

/// All that decides a shot's panorama, but for the bytes of its files and its template.
[[nodiscard]] std::string shot_key_text(const ShotFiles& files, const ShotWishes& wishes);

}  // namespace seamwright
