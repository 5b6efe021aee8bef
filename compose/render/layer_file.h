#pragma once

#include <filesystem>
#include <span>
#include <string>

#include "compose/render/render.h"
#include "imaging/tiff_writer.h"

namespace seamwright {

/// A page that somebody else made.
struct MadePage {
  std::string name;
  const Image& image;
};

/// Writes all layers of a panorama into one TIFF for retouching, one page each: first what each
/// lens shows ("lens 0", …; alpha 1 wherever it sees), then each lens' mask ("mask 0", …), then
/// `more`. Pages are written row by row as they are rendered. The file appears whole or not at all.
[[nodiscard]] Result<void> write_layers(const Rig& rig, std::span<const Frame> frames,
                                        const RenderOptions& options,
                                        const std::filesystem::path& file,
                                        TiffCompression compression,
                                        const ProgressFn& progress = {},
                                        std::span<const MadePage> more = {});

}  // namespace seamwright
