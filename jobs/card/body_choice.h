#pragma once

#include <optional>
#include <string>
#include <vector>

#include "base/result.h"
#include "jobs/brackets/frame_list.h"
#include "jobs/shot/open_shot.h"

namespace seamwright {

/// Which template is a body's, and how that was told.
struct ChosenTemplate {
  std::optional<std::size_t> index;  ///< none where there are no templates, or none fits
  enum class By { nothing, serial, ties, only } by = By::nothing;
};

/// The one template that is of the serial number that EXIF tells (jobs/shot/body_files.h); nothing
/// where none or several are.
[[nodiscard]] ChosenTemplate template_by_serial(const std::optional<std::string>& serial,
                                                const std::vector<BodyTemplate>& templates);

/// The template that some shots of one body fit best, by their own rings; a lone template is taken
/// where they show too little to tell. Nothing where none fits.
[[nodiscard]] ChosenTemplate template_by_ties(const std::vector<ShotFiles>& shots,
                                              const std::vector<BodyTemplate>& templates);

}  // namespace seamwright
