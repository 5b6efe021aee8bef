#include "jobs/shot/shot_wishes.h"

#include "compose/finish/glow.h"

namespace seamwright {

static_assert(static_cast<int>(SeamKind::plain) == kSeamNames.size() - 1);
static_assert(static_cast<int>(ResampleKernel::lanczos3) == kKernelNames.size() - 1);
static_assert(static_cast<int>(TiffCompression::deflate) == kCompressionNames.size() - 1);

RenderOptions ShotWishes::render_options() const {
  return {.width_px = width_px,
          .kernel = kernel,
          .gain_match = gain_match,
          .blend_half_width_deg = blend_half_width_deg};
}

std::optional<Error> ShotWishes::validate() const {
  if (auto error = level.validate()) return error;
  if (auto error = cover.validate()) return error;
  if (auto error = merge.validate()) return error;
  if (auto error = look.validate()) return error;
  if (auto error = check_glow_removal(glow_removal)) return error;
  return render_options().validate();
}

}  // namespace seamwright
