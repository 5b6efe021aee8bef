#pragma once

#include <array>
#include <optional>
#include <span>
#include <vector>

#include "base/result.h"
#include "imaging/pictures.h"
#include "projection/rig.h"
#include "sampling/spline_plane.h"
#include "sampling/visible_field.h"

namespace seamwright {

/// Says when frames are not one a lens, each of its lens' size.
[[nodiscard]] std::optional<Error> frames_mismatch(const Pictures& frames, const Rig& rig);

/// Green (or grey) of a frame as grey f32, 0…1, square-root encoded if the frame is linear, so that
/// sensor noise is about even.
[[nodiscard]] Image match_plane(const Image& frame);

/// A Gaussian blur, of which every `step`-th pixel is kept. Each blur should leave little beyond
/// its level's sampling limit.
struct PlaneLevel {
  double blur_px = 0.7;
  int step = 1;
};

/// What matching needs: the sharp plane and one of half its size.
inline constexpr std::array<PlaneLevel, 2> kMatchLevels = {{{0.7, 1}, {1.5, 2}}};

/// One frame and its lens, made ready for sampling.
struct LensView {
  /// `plane` comes from `match_plane` and has the lens' frame size (asserted); at least one level.
  LensView(const Image& plane, const MountedLens& mounted,
           std::span<const PlaneLevel> levels = kMatchLevels);

  /// The finest plane.
  [[nodiscard]] const SplinePlane& plane() const { return levels.front(); }

  MountedLens mounted;
  std::vector<SplinePlane> levels;  ///< finest first
  VisibleField field;
};

/// One view a lens. Fails on a wrong frame count or size and on a broken rig.
[[nodiscard]] Result<std::vector<LensView>> views_of(const Pictures& frames, const Rig& rig);

}  // namespace seamwright
