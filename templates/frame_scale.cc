#include "templates/frame_scale.h"

#include <cmath>

#include <fmt/format.h>

namespace seamwright {

Result<double> template_scale(const Rig& rig, const Image& frame, const std::string& name) {
  const Lens& lens = rig.lenses.front().lens;
  const double scale = static_cast<double>(lens.width_px) / frame.width();
  if (std::abs(frame.height() * scale - lens.height_px) <= scale) return scale;
  return fail({.kind = ErrorKind::user_input,
               .where = name,
               .field = {},
               .what = fmt::format("{} x {} px does not have the shape of the template's {} x {}",
                                   frame.width(), frame.height(), lens.width_px, lens.height_px),
               .remedy = "use frames of the body the template is for, uncropped"});
}

Tie scaled_tie(Tie tie, double scale) {
  for (TieSight& sight : tie.sights) {
    sight.px *= scale;
    sight.covariance_px2 *= scale * scale;
  }
  return tie;
}

}  // namespace seamwright
