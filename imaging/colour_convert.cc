#include "imaging/colour_convert.h"

#include <memory>
#include <vector>

#include <lcms2.h>

#include "imaging/convert.h"
#include "imaging/icc.h"
#include "imaging/lcms_handles.h"

namespace seamwright {
namespace {

struct CloseTransform {
  void operator()(void* transform) const { cmsDeleteTransform(transform); }
};
using Transform = std::unique_ptr<void, CloseTransform>;

bool is_grey(const Image& image) {
  return image.channels() == Channels::grey || image.channels() == Channels::grey_alpha;
}

std::vector<std::byte> profile_bytes(const Image& image) {
  if (!image.icc_profile.empty()) return image.icc_profile;
  return make_icc_profile(is_grey(image) ? Channels::grey : Channels::rgb, image.transfer);
}

// Alpha is not looked at by the transform; it is copied.
cmsUInt32Number float_format(const Image& image, bool grey) {
  const cmsUInt32Number extra = has_alpha(image.channels()) ? 1 : 0;
  const cmsUInt32Number space = grey ? PT_GRAY : PT_RGB;
  return FLOAT_SH(1U) | COLORSPACE_SH(space) | EXTRA_SH(extra) | CHANNELS_SH(grey ? 1U : 3U) |
         BYTES_SH(4);
}

}  // namespace

Result<Image> converted_to(const Image& image, const Image& target) {
  const LcmsContext context = silent_context();
  const LcmsProfile from = open_profile(context, profile_bytes(image));
  const LcmsProfile to = open_profile(context, profile_bytes(target));
  const bool grey = is_grey(target);
  Transform transform;
  if (from && to) {
    transform.reset(
        cmsCreateTransformTHR(context.get(), from.get(), float_format(image, is_grey(image)),
                              to.get(), float_format(image, grey), INTENT_RELATIVE_COLORIMETRIC,
                              cmsFLAGS_COPY_ALPHA | cmsFLAGS_NOCACHE | cmsFLAGS_NOOPTIMIZE));
  }
  if (!transform) {
    return fail({.where = from ? target.file : image.file,
                 .field = "ICC profile",
                 .what = "the colours cannot be converted to the panorama's profile",
                 .remedy = "save the picture with a plain profile, such as sRGB"});
  }
  const bool alpha = has_alpha(image.channels());
  const Channels channels = grey ? (alpha ? Channels::grey_alpha : Channels::grey)
                                 : (alpha ? Channels::rgba : Channels::rgb);
  const Image source = to_type(image, SampleType::f32);
  Image out(image.width(), image.height(), channels, SampleType::f32);
  for (int y = 0; y < image.height(); ++y) {
    cmsDoTransform(transform.get(), source.row<float>(y).data(), out.row<float>(y).data(),
                   static_cast<cmsUInt32Number>(image.width()));
  }
  out.icc_profile = target.icc_profile;
  out.transfer = target.transfer;
  return out;
}

}  // namespace seamwright
