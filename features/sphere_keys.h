#pragma once

// Key points of one shot over the whole field of every lens, made for matching with other shots.
//
// Each lens is resampled to planes that touch the sphere, in two rows above and below the horizon
// and one on it, small enough that their stretch stays moderate. Descriptors are upright against
// the local meridian (a body stands upright to some degrees), so that stands may head anywhere;
// straight up and down, where there is no meridian to speak of, no keys are taken. A direction
// belongs to the plane with the nearest centre, so that nothing is found twice. Keys are kept in
// frame pixels: their directions follow the rig when it improves.

#include <optional>
#include <vector>

#include "base/result.h"
#include "features/descriptor.h"
#include "imaging/pictures.h"
#include "projection/rig.h"

namespace seamwright {

struct SphereKey {
  int lens = 0;
  Vec2 px = Vec2::Zero();  ///< of the frame
  float size_rad = 0;      ///< diameter of the blob
  float response = 0;
  Descriptor descriptor{};
};

/// Keys of one shot, by lens, then v, then u.
struct ShotKeys {
  std::vector<SphereKey> keys;
};

struct SphereKeyOptions {
  int max_keys_per_lens = 3500;         ///< strongest, evenly over the sphere
  double resolution = 0.75;             ///< of the planes against the lens' axis, 0.3…1
  double contrast = 0.02;               ///< SIFT contrast threshold on the normalised planes
  double largest_px = 24;               ///< blobs larger than this (frame px) sit too vaguely
  double margin_rad = rad_from_deg(1);  ///< kept free at the rim of the field of view
  double from_vertical_rad = rad_from_deg(10);  ///< no keys so near to straight up or down

  [[nodiscard]] std::optional<Error> validate() const;
};

/// One frame a lens, any sample type and channels, of the rig's frame size; the rig's −y is roughly
/// up. Same frames, same keys, whatever the thread count. Fails on wrong frame count or size.
[[nodiscard]] Result<ShotKeys> find_sphere_keys(const Pictures& frames, const Rig& rig,
                                                const SphereKeyOptions& options = {});

}  // namespace seamwright
