#include <exception>
#include <vector>

#include <ImfChannelList.h>
#include <ImfChromaticities.h>
#include <ImfFrameBuffer.h>
#include <ImfHeader.h>
#include <ImfOutputFile.h>
#include <ImfStandardAttributes.h>

#include "base/file.h"
#include "imaging/codecs.h"
#include "imaging/convert.h"
#include "imaging/icc.h"
#include "imaging/picture_error.h"
#include "imaging/transfer.h"

namespace seamwright {
namespace {

std::vector<const char*> channel_names(Channels channels) {
  switch (channels) {
    case Channels::grey:
      return {"Y"};
    case Channels::grey_alpha:
      return {"Y", "A"};
    case Channels::rgb:
      return {"R", "G", "B"};
    case Channels::rgba:
      return {"R", "G", "B", "A"};
  }
  return {};
}

Imath::V2f point(const std::array<double, 2>& xy) {
  return {static_cast<float>(xy[0]), static_cast<float>(xy[1])};
}

// Without a profile the primaries are those of ITU-R BT.709, which readers take for granted.
void add_primaries(Imf::Header& header, const Image& image) {
  const auto primaries = primaries_of(image.icc_profile);
  if (!primaries) return;
  Imf::addChromaticities(header,
                         Imf::Chromaticities(point(primaries->red), point(primaries->green),
                                             point(primaries->blue), point(primaries->white)));
}

// How it was taken, by OpenEXR's standard attributes (ImfStandardAttributes.h), which have the
// units of FrameInfo. That of an environment map is left out: it puts pixel centres on the poles
// and on the border, half a pixel off ours.
void add_info(Imf::Header& header, const FrameInfo& info) {
  if (info.taken_at) Imf::addCapDate(header, *info.taken_at);
  if (info.exposure_s) Imf::addExpTime(header, static_cast<float>(*info.exposure_s));
  if (info.f_number) Imf::addAperture(header, static_cast<float>(*info.f_number));
  if (info.iso) Imf::addIsoSpeed(header, static_cast<float>(*info.iso));
  if (!info.location) return;
  Imf::addLatitude(header, static_cast<float>(info.location->latitude_deg));
  Imf::addLongitude(header, static_cast<float>(info.location->longitude_deg));
  if (info.location->altitude_m) {
    Imf::addAltitude(header, static_cast<float>(*info.location->altitude_m));
  }
}

// OpenEXR keeps colours premultiplied (Technical Introduction to OpenEXR, "Premultiplied").
void premultiply(std::span<float> light, std::size_t channels) {
  for (std::size_t at = 0; at < light.size(); at += channels) {
    for (std::size_t c = 0; c + 1 < channels; ++c) light[at + c] *= light[at + channels - 1];
  }
}

void write_rows(Imf::OutputFile& file, const Image& image, const TransferCurve& curve,
                Imf::PixelType type, const std::vector<const char*>& names) {
  const auto width = static_cast<std::size_t>(image.width());
  std::vector<float> light(width * names.size());
  std::vector<Imath::half> halves(type == Imf::HALF ? light.size() : 0);
  const std::size_t sample = type == Imf::HALF ? sizeof(Imath::half) : sizeof(float);
  char* base = type == Imf::HALF ? reinterpret_cast<char*>(halves.data())
                                 : reinterpret_cast<char*>(light.data());
  Imf::FrameBuffer buffer;
  // Rows all lie in the same memory: no step from line to line.
  for (std::size_t c = 0; c < names.size(); ++c) {
    buffer.insert(names[c], Imf::Slice(type, base + c * sample, sample * names.size(), 0));
  }
  file.setFrameBuffer(buffer);
  for (int y = 0; y < image.height(); ++y) {
    curve.decode_row<float>(image.row<float>(y), image.channels(), light);
    if (has_alpha(image.channels())) premultiply(light, names.size());
    for (std::size_t i = 0; i < halves.size(); ++i) halves[i] = Imath::half(light[i]);
    file.writePixels(1);
  }
}

}  // namespace

Result<void> write_exr(const std::filesystem::path& path, const Image& image,
                       const WriteOptions& options) {
  const auto curve = TransferCurve::of(image);
  if (!curve) return tl::unexpected(curve.error());
  auto pending = PendingFile::create(path);
  if (!pending) return tl::unexpected(pending.error());
  const Imf::PixelType type = image.type() == SampleType::f32 ? Imf::FLOAT : Imf::HALF;
  const auto names = channel_names(image.channels());
  try {
    Imf::Header header(image.width(), image.height(), 1, Imath::V2f(0, 0), 1, Imf::INCREASING_Y,
                       Imf::ZIP_COMPRESSION);
    for (const char* name : names) header.channels().insert(name, Imf::Channel(type));
    add_primaries(header, image);
    if (options.info) add_info(header, *options.info);
    Imf::OutputFile file(pending->temporary().string().c_str(), header, 0);
    write_rows(file, to_type(image, SampleType::f32), *curve, type, names);
  } catch (const std::exception& fault) {
    return fail(write_failure(path, fault.what()));
  }
  return pending->commit();
}

}  // namespace seamwright
