#include "sampling/lens_reader.h"

namespace seamwright {

LensReader::LensReader(const MountedLens& mounted, const Image& image, ResampleKernel kind,
                       double px_per_rad, const TransferCurve& transfer, const ChannelGains& gains)
    : map(mounted),
      kernel(kind, map.typical_px_per_rad() / px_per_rad),
      sampler(image, kernel),
      shader(map, sampler, transfer, gains, image.type() != SampleType::f32) {}

LensReader::LensReader(const MountedLens& mounted, const Image& image,
                       const TransferCurve& transfer)
    : map(mounted),
      kernel(ResampleKernel::catmull_rom),
      sampler(image, kernel),
      shader(map, sampler, transfer, {1, 1, 1}, image.type() != SampleType::f32) {}

}  // namespace seamwright
