// Opens a shot of two frames and stitches it: stitch_a_shot TEMPLATE FRONT BACK PANORAMA

#include <cstdio>

#include "jobs/shot/open_shot.h"
#include "jobs/shot/stitch_shot.h"

int main(int argc, char** argv) {
  if (argc != 5) return 1;
  const auto shot =
      seamwright::open_shot({.files = {argv[2], argv[3]}}, {.template_file = argv[1]});
  const auto made = shot.and_then(
      [&](const auto& opened) { return seamwright::stitch_shot(opened, {.out = argv[4]}); });
  if (!made) std::fprintf(stderr, "%s\n", made.error().line().c_str());
  if (!made) return 1;
  std::printf("%d x %d px, %d pair of lenses joined by depth\n", made->render.width_px,
              made->render.height_px, made->joined_pairs.value_or(0));
}
