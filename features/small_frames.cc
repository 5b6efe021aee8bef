#include "features/small_frames.h"

#include "imaging/resize.h"
#include "sampling/lens_view.h"

namespace seamwright {

Image small_match_plane(const Image& frame, int width_px) {
  Image plane = match_plane(frame);
  if (2 * frame.width() < width_px) {
    const int height_px = frame.height() * width_px / frame.width();
    return resized(plane, width_px, height_px, Borders::repeat);
  }
  if (2 * frame.width() < 3 * width_px) return plane;
  return averaged(plane, width_px);
}

}  // namespace seamwright
