#pragma once

// Turning a panorama, and what it is rendered from: the level and the heading.

#include <optional>
#include <span>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "compose/finish/verticals.h"
#include "imaging/frame.h"
#include "projection/rig.h"

namespace seamwright {

/// The shortest turn that takes `down` to +y, then the turn about the vertical that brings
/// longitude `middle_deg` of the levelled picture to its middle column.
[[nodiscard]] Quat level_from_rig(const Vec3& down, double middle_deg = 0);

/// The same body in turned axes: what is rendered from it is turned with no resampling of its own.
[[nodiscard]] Rig turned(const Rig& rig, const Quat& turned_from_rig);

/// Straight edges of one shot's frames, as planes in the rig's axes; the rig's lenses must be
/// solved, not nominal.
[[nodiscard]] Result<std::vector<EdgePlane>> find_edges(const Rig& rig,
                                                        std::span<const Frame> frames);

/// Upright edges of one shot's frames; the rig's lenses must be solved, not nominal.
[[nodiscard]] Result<Vertical> find_vertical(const Rig& rig, std::span<const Frame> frames,
                                             const VerticalOptions& options = {});

/// Upright edges of a whole panorama (2 : 1), looked for in views of it.
[[nodiscard]] Result<Vertical> find_vertical(const Image& panorama,
                                             const VerticalOptions& options = {});

/// Resamples a whole panorama once (Catmull–Rom over the wrap and the poles):
/// a direction d of the result shows what `panorama` shows at turned_from_panorama⁻¹ d. A turn
/// about the vertical by a whole number of pixels moves them untouched. Stage told: "turning".
[[nodiscard]] Result<Image> turn_panorama(const Image& panorama, const Quat& turned_from_panorama,
                                          const ProgressFn& progress = {});

/// Left and right exchanged, samples untouched.
[[nodiscard]] Image mirror_image(const Image& image);

}  // namespace seamwright
