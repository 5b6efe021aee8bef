#pragma once

#include <optional>

#include "imaging/frame.h"

namespace seamwright {

/// How much light a frame gathers, relative to others of one scene: t · (S / 100) / N², seconds for
/// t (the exposure equation N² / t = L·S / K of ISO 2720, from memory). A speed or aperture that
/// EXIF does not say counts as ISO 100 and f/1: it is then taken to be the same for all frames.
/// Empty without an exposure time.
[[nodiscard]] std::optional<double> relative_exposure(const FrameInfo& info);

/// log2 of a ratio of exposures.
[[nodiscard]] double ev_between(double exposure, double reference);

}  // namespace seamwright
