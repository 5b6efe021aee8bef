#pragma once

// The floor, out to an editor and back in.

#include <cstdint>
#include <span>

#include "base/result.h"
#include "compose/finish/flat_view.h"

namespace seamwright {

inline constexpr double kFloorField_deg = 100;

/// The downward view of a whole panorama: `field_deg` (20…140) from edge to edge, native size.
[[nodiscard]] Result<Image> floor_view(const Image& panorama, double field_deg = kFloorField_deg);

struct FloorReturn {
  std::int64_t edited_px = 0;   ///< of the view
  std::int64_t changed_px = 0;  ///< of the panorama
  /// Nearly every pixel differs: not a retouch, but another picture or other colours.
  bool everything_edited = false;
};

/// Puts an edited floor view back, in place. A view pixel is edited where it differs from what the
/// panorama shows there; panorama pixels whose place is not on an edited pixel keep their bytes.
/// Fails, with the panorama as it was, on a view of another size, sample type, channels or colour
/// profile.
[[nodiscard]] Result<FloorReturn> put_floor_back(Image& panorama, const Image& edited,
                                                 double field_deg = kFloorField_deg);

/// Replaces what a mask (one byte a view pixel, 0: keep) says; returns the changed pixels.
[[nodiscard]] std::int64_t put_view_back(Image& panorama, const FlatView& view, const Image& edited,
                                         std::span<const std::uint8_t> mask);

}  // namespace seamwright
