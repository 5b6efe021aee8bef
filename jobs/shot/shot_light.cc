#include "jobs/shot/shot_light.h"

#include <cmath>
#include <utility>

#include "jobs/brackets/exposure.h"

namespace seamwright {

Result<std::optional<RoomLight>> room_light_of(const Shot& shot, const ProgressFn& progress) {
  const auto pictures = read_pictures(shot, Exposures::middle, progress);
  if (!pictures) return tl::unexpected(pictures.error());
  const RenderOptions small{.width_px = 512, .gain_match = shot.wishes.gain_match};
  const auto panorama = render_panorama(pictures->rig, pictures->frames, small, progress);
  if (!panorama) return tl::unexpected(panorama.error());
  const auto patches = patches_of(panorama->image);
  if (!patches) return tl::unexpected(patches.error());
  const auto light = light_of(*patches);
  if (!light) return std::nullopt;
  RoomLight room{.light = *light};
  const auto exposure = relative_exposure(pictures->frames.front().info);
  if (exposure && *exposure > 0) room.exposure_ev = std::log2(*exposure);
  return room;
}

}  // namespace seamwright
