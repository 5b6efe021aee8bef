#include "imaging/icc.h"

#include <algorithm>
#include <cmath>
#include <memory>
#include <type_traits>

#include <lcms2.h>

#include "imaging/lcms_handles.h"

namespace seamwright {
namespace {

struct FreeCurve {
  void operator()(cmsToneCurve* curve) const { cmsFreeToneCurve(curve); }
};
using Context = LcmsContext;
using Profile = LcmsProfile;
using Curve = std::unique_ptr<cmsToneCurve, FreeCurve>;

Error profile_error(const std::string& file, std::string what) {
  return {.kind = ErrorKind::user_input,
          .where = file,
          .field = "ICC profile",
          .what = std::move(what),
          .remedy = "convert the picture to a profile with tone curves, such as sRGB"};
}

// Straight lines between the knots; the library's own evaluation of tables rounds to 16 bits.
ToneFunction table_function(const cmsToneCurve* curve) {
  const cmsUInt16Number* knots = cmsGetToneCurveEstimatedTable(curve);
  std::vector<double> light(cmsGetToneCurveEstimatedTableEntries(curve));
  for (std::size_t i = 0; i < light.size(); ++i) light[i] = knots[i] / 65535.0;
  return [light = std::move(light)](double code) {
    const double at = std::clamp(code, 0.0, 1.0) * static_cast<double>(light.size() - 1);
    const std::size_t index = std::min(static_cast<std::size_t>(at), light.size() - 2);
    return light[index] + (at - static_cast<double>(index)) * (light[index + 1] - light[index]);
  };
}

// A curve and the context that its memory comes from, which must outlive it.
struct KeptCurve {
  Context context;
  Curve curve;
};

ToneFunction tone_function(const Context& context, const cmsToneCurve* curve) {
  const bool is_formula = cmsGetToneCurveParametricType(curve) != 0;
  if (!is_formula) return table_function(curve);
  const auto kept =
      std::make_shared<const KeptCurve>(KeptCurve{context, Curve(cmsDupToneCurve(curve))});
  return [kept](double code) -> double {
    return cmsEvalToneCurveFloat(kept->curve.get(), static_cast<cmsFloat32Number>(code));
  };
}

// Rises from black to white and falls nowhere.
bool is_usable(const ToneFunction& tone) {
  constexpr int kSamples = 4096;
  double before = tone(0.0);
  if (!(tone(1.0) > std::max(before, 0.0) + 1e-3) || !std::isfinite(tone(1.0))) return false;
  for (int i = 1; i <= kSamples; ++i) {
    const double here = tone(static_cast<double>(i) / kSamples);
    if (!(here >= before - 1e-6)) return false;
    before = here;
  }
  return true;
}

std::vector<std::byte> saved(cmsHPROFILE profile) {
  cmsUInt32Number size = 0;
  cmsSaveProfileToMem(profile, nullptr, &size);
  std::vector<std::byte> bytes(size);
  cmsSaveProfileToMem(profile, bytes.data(), &size);
  // ICC.1 7.2.1: date of creation at bytes 24…35, six big-endian 16-bit numbers. Fixed, so that
  // the same picture gives the same file: 2000-01-01 00:00:00.
  constexpr unsigned char kDate[12] = {0x07, 0xD0, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0};
  std::transform(std::begin(kDate), std::end(kDate), bytes.begin() + 24,
                 [](unsigned char byte) { return std::byte{byte}; });
  return bytes;
}

Curve transfer_curve(const Context& context, Transfer transfer) {
  // IEC 61966-2-1 as ICC parametric curve type 3: Y = ((X + 0.055)/1.055)^2.4, X/12.92 below.
  constexpr cmsFloat64Number kSrgb[] = {2.4, 1.0 / 1.055, 0.055 / 1.055, 1.0 / 12.92, 0.04045};
  return Curve(transfer == Transfer::linear ? cmsBuildGamma(context.get(), 1.0)
                                            : cmsBuildParametricToneCurve(context.get(), 4, kSrgb));
}

}  // namespace

Result<std::array<ToneFunction, 3>> tone_functions(std::span<const std::byte> icc_profile,
                                                   bool coloured, const std::string& file) {
  const Context context = silent_context();
  const Profile profile = open_profile(context, icc_profile);
  if (!profile) return fail(profile_error(file, "is broken"));
  const cmsColorSpaceSignature wanted = coloured ? cmsSigRgbData : cmsSigGrayData;
  if (cmsGetColorSpace(profile.get()) != wanted) {
    return fail(profile_error(file, coloured ? "is not for RGB pixels" : "is not for grey pixels"));
  }
  constexpr cmsTagSignature kRgbTags[] = {cmsSigRedTRCTag, cmsSigGreenTRCTag, cmsSigBlueTRCTag};
  std::array<ToneFunction, 3> tones;
  for (std::size_t i = 0; i < tones.size(); ++i) {
    const cmsTagSignature tag = coloured ? kRgbTags[i] : cmsSigGrayTRCTag;
    const auto* curve = static_cast<const cmsToneCurve*>(cmsReadTag(profile.get(), tag));
    if (curve == nullptr) return fail(profile_error(file, "has no tone curves"));
    tones[i] = tone_function(context, curve);
    if (!is_usable(tones[i]))
      return fail(profile_error(file, "has a tone curve that does not rise"));
  }
  return tones;
}

std::string icc_description(std::span<const std::byte> icc_profile) {
  const Context context = silent_context();
  const Profile profile = open_profile(context, icc_profile);
  if (!profile) return {};
  char text[256] = {};
  cmsGetProfileInfoASCII(profile.get(), cmsInfoDescription, "en", "US", text, sizeof(text));
  return text;
}

std::vector<std::byte> make_icc_profile(Channels channels, Transfer transfer) {
  const Context context = silent_context();
  const Curve curve = transfer_curve(context, transfer);
  constexpr cmsCIExyY kD65 = {0.3127, 0.3290, 1.0};
  if (channels == Channels::grey || channels == Channels::grey_alpha) {
    return saved(Profile(cmsCreateGrayProfileTHR(context.get(), &kD65, curve.get())).get());
  }
  constexpr cmsCIExyYTRIPLE kBt709 = {{0.64, 0.33, 1.0}, {0.30, 0.60, 1.0}, {0.15, 0.06, 1.0}};
  cmsToneCurve* curves[] = {curve.get(), curve.get(), curve.get()};
  return saved(Profile(cmsCreateRGBProfileTHR(context.get(), &kD65, &kBt709, curves)).get());
}

Result<std::vector<std::byte>> with_transfer(std::span<const std::byte> icc_profile,
                                             Transfer transfer, const std::string& file) {
  const Context context = silent_context();
  const Profile source = open_profile(context, icc_profile);
  if (!source) return fail(profile_error(file, "is broken"));
  if (cmsGetColorSpace(source.get()) == cmsSigGrayData) {
    return make_icc_profile(Channels::grey, transfer);
  }
  const std::vector<std::byte> start = make_icc_profile(Channels::rgb, transfer);
  const Profile result = open_profile(context, start);
  for (const cmsTagSignature tag :
       {cmsSigRedColorantTag, cmsSigGreenColorantTag, cmsSigBlueColorantTag}) {
    const void* colorant = cmsReadTag(source.get(), tag);
    if (colorant == nullptr) return fail(profile_error(file, "has no primaries"));
    cmsWriteTag(result.get(), tag, colorant);
  }
  // The unadapted primaries go along, or go: nothing written takes a tag out.
  const void* unadapted = cmsReadTag(source.get(), cmsSigChromaticityTag);
  cmsWriteTag(result.get(), cmsSigChromaticityTag, unadapted);
  return saved(result.get());
}

std::vector<std::byte> make_wide_profile(Transfer transfer) {
  const Context context = silent_context();
  const Curve curve = transfer_curve(context, transfer);
  constexpr cmsCIExyY kD65 = {0.3127, 0.3290, 1.0};
  constexpr cmsCIExyYTRIPLE kBt2020 = {
      {0.708, 0.292, 1.0}, {0.170, 0.797, 1.0}, {0.131, 0.046, 1.0}};
  cmsToneCurve* curves[] = {curve.get(), curve.get(), curve.get()};
  return saved(Profile(cmsCreateRGBProfileTHR(context.get(), &kD65, &kBt2020, curves)).get());
}

std::vector<std::byte> icc_profile_to_write(const Image& image) {
  if (!image.icc_profile.empty()) return image.icc_profile;
  const Transfer assumed = image.type() == SampleType::f32 ? Transfer::linear : Transfer::srgb;
  if (image.transfer == assumed) return {};
  return make_icc_profile(image.channels(), image.transfer);
}

std::optional<Primaries> primaries_of(std::span<const std::byte> icc_profile) {
  const Context context = silent_context();
  const Profile profile = open_profile(context, icc_profile);
  if (!profile) return {};
  const auto chromaticity = [&](cmsTagSignature tag) -> std::optional<std::array<double, 2>> {
    const auto* xyz = static_cast<const cmsCIEXYZ*>(cmsReadTag(profile.get(), tag));
    if (xyz == nullptr) return {};
    const double sum = xyz->X + xyz->Y + xyz->Z;
    if (!(std::abs(sum) > 1e-9)) return {};
    return std::array<double, 2>{xyz->X / sum, xyz->Y / sum};
  };
  const auto red = chromaticity(cmsSigRedColorantTag);
  const auto green = chromaticity(cmsSigGreenColorantTag);
  const auto blue = chromaticity(cmsSigBlueColorantTag);
  if (!red || !green || !blue) return {};
  const cmsCIEXYZ* white = cmsD50_XYZ();
  const double sum = white->X + white->Y + white->Z;
  return Primaries{*red, *green, *blue, {white->X / sum, white->Y / sum}};
}

}  // namespace seamwright
