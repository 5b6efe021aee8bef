#pragma once

// The same job done with OpenCV's building blocks, for comparison. Maps are made before the clock
// starts: they are what a program keeps from shot to shot.

#include <filesystem>
#include <string>
#include <vector>

#include "base/result.h"
#include "projection/rig.h"

namespace seamwright::bench {

struct StageSeconds {
  std::string stage;
  double s = 0;      ///< by the clock
  double cpu_s = 0;  ///< of all threads
};

/// Processor seconds of this process so far.
[[nodiscard]] double cpu_seconds();

/// Reads both frames, fills each half of the panorama from its lens with cv::remap and ready
/// fixed-point maps, writes an uncompressed 16-bit TIFF: no gain, seam, blend or profile, every
/// pixel interpolated once. Two lenses back to back, the first one forward. `interpolation` is
/// cv::INTER_CUBIC or cv::INTER_LANCZOS4.
[[nodiscard]] Result<std::vector<StageSeconds>> bare_remap(
    const Rig& rig, const std::vector<std::filesystem::path>& frames,
    const std::filesystem::path& out, int width_px, int interpolation);

/// cv::remap (cubic) of both lenses, gain compensation, graph-cut seam at 0.5 Mpx, multi-band blend
/// with five bands, 8-bit TIFF: the usual chain of OpenCV's stitching module, which blends no
/// 16-bit pictures.
[[nodiscard]] Result<std::vector<StageSeconds>> detail_pipeline(
    const Rig& rig, const std::vector<std::filesystem::path>& frames,
    const std::filesystem::path& out, int width_px);

}  // namespace seamwright::bench
