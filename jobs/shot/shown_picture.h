#pragma once

// The picture for displays that a shot's wishes ask for (jobs/look/look.h).

#include <optional>

#include "base/result.h"
#include "imaging/image.h"
#include "jobs/brackets/tone.h"
#include "jobs/look/look.h"
#include "jobs/shot/shot_wishes.h"

namespace seamwright {

/// By what a panorama was shown; nothing where it is as it was rendered.
struct ShownBy {
  std::optional<DisplayCurve> curve = {};  ///< light that has no look
  std::optional<DisplayLook> look = {};
};

/// A panorama of light by its look, or by its brightness alone. `bracketed`: the light was merged;
/// else the frames were linear, and have a look only where one is asked for, as single frames do.
[[nodiscard]] Result<Image> shown_light(const ShotWishes& wishes, bool bracketed,
                                        const Image& light, ShownBy& shown_by);

/// Whether a panorama of frames that were made for displays is changed. Float frames are light, and
/// stay it.
[[nodiscard]] bool frames_have_look(const ShotWishes& wishes, SampleType type);

/// Changes such a panorama in place.
[[nodiscard]] Result<void> give_look(const ShotWishes& wishes, Image& panorama, ShownBy& shown_by);

}  // namespace seamwright
