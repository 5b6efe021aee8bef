#include "tests/features/synthetic_shot.h"

#include <cmath>

namespace seamwright::test {

Partner SyntheticShot::truth() const {
  return [this](int a, int b, const Vec2& px, const Vec2& depth_px) {
    return partner_of(scene, rig.lenses[static_cast<std::size_t>(a)],
                      rig.lenses[static_cast<std::size_t>(b)], px, depth_px);
  };
}

SyntheticShot photograph_all(const Rig& rig, const SceneOptions& scene_options, double noise) {
  SyntheticShot shot{rig, Scene(scene_options), {}};
  for (int lens = 0; lens < rig.lens_count(); ++lens) {
    shot.frames.push_back(photograph(shot.scene, rig.lenses[static_cast<std::size_t>(lens)],
                                     {.gain = std::exp2(-lens % 2),
                                      .noise = noise,
                                      .stream = static_cast<std::uint64_t>(lens + 1),
                                      .samples = scene_options.panels ? 3 : 1}));
  }
  return shot;
}

const SyntheticShot& room_shot() {
  static const SyntheticShot shot = [] {
    RigOptions options;
    options.width_px = options.height_px = 800;
    options.centre_spread_px = 6;
    options.pupil_spread_m = 0.0005;
    return photograph_all(random_rig(3, options), {.grain_m = 0.05});
  }();
  return shot;
}

}  // namespace seamwright::test
