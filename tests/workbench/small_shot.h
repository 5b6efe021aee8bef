#pragma once

#include <utility>

#include "apps/workbench/desk.h"
#include "tests/support/random.h"
#include "tests/support/rigs.h"

namespace seamwright::test {

/// A small body and a frame of noise a lens.
[[nodiscard]] inline workbench::OpenedShot small_shot() {
  workbench::OpenedShot opened;
  const Rig rig = nominal_rig({.width_px = 160, .height_px = 160});
  opened.shot.body.rig_template.solution.rig = rig;
  opened.shot.rig = rig;
  opened.document.frames = {"front.tif", "back.tif"};
  opened.pictures.rig = rig;
  Random random(7);
  for (int lens = 0; lens < 2; ++lens) {
    Image image(160, 160, Channels::rgb, SampleType::u8);
    for (int y = 0; y < 160; ++y) {
      for (std::uint8_t& code : image.row<std::uint8_t>(y)) {
        code = static_cast<std::uint8_t>(random.bits() & 0xFFU);
      }
    }
    opened.pictures.frames.push_back({std::move(image), {.file = "frame.tif"}});
  }
  return opened;
}

}  // namespace seamwright::test
