#include "apps/demo/render.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "apps/demo/caster/hash.h"
#include "apps/demo/house/guest.h"
#include "base/parallel.h"

namespace seamwright::demo {
namespace {

constexpr int kBandRows = 96;
constexpr int kBandsPerReport = 8;

std::uint64_t shot_seed(const DemoOptions& options, const DemoShot& shot, int lens, int use) {
  std::uint64_t h =
      hash_of(options.seed, static_cast<std::uint64_t>(use), static_cast<std::uint64_t>(lens));
  for (const char c : shot.name) {
    h = hash_of(h, static_cast<unsigned char>(c));
  }
  return h;
}

enum Use : int { kJitter = 1, kNoise = 2 };
constexpr int kNoLens = 99;

MountedLens lens_of(const Studio& studio, const DemoShot& shot, int lens,
                    const DemoOptions& options) {
  const Rig rig = demo_shot_rig(studio.body, options.seed, shot.name, options.flex_rms_deg);
  return rig.lenses[static_cast<std::size_t>(lens)];
}

Rgb gain_of(const DemoShot& shot, int lens, const DemoOptions& options) {
  const auto gain = static_cast<float>(shot.sensitivity);
  if (lens == 0) {
    return {gain, gain, gain};
  }
  // The back lens is brighter, and a little warmer.
  const float more = gain * static_cast<float>(std::exp2(options.back_gain_ev));
  return {1.03F * more, more, 0.96F * more};
}

Result<Image> render(const Studio& studio, std::span<const Shape> stand, const Camera& camera,
                     const Lens* fringes, const Exposure& exposure, const ProgressFn& progress) {
  Image image(camera.width_px(), camera.height_px(), Channels::rgb, SampleType::u16);
  image.icc_profile = studio.profile;
  const int bands = (camera.height_px() + kBandRows - 1) / kBandRows;
  for (int first = 0; first < bands; first += kBandsPerReport) {
    if (!tell(progress, "rendering", static_cast<double>(first) / bands)) {
      return fail({.kind = ErrorKind::cancelled, .what = "rendering was stopped"});
    }
    parallel_for(first, std::min(bands, first + kBandsPerReport), [&](int band) {
      const int top = band * kBandRows;
      const int bottom = std::min(camera.height_px(), top + kBandRows);
      const Band light = expose_band(studio.house.scene, stand, camera, fringes, top, bottom);
      develop_band(light, exposure, studio.sensor, studio.curve, image);
    });
  }
  return image;
}

std::vector<Shape> stand_of(const Studio& studio, const DemoShot& shot) {
  auto shapes = stand_under(studio.house.palette, to_float(shot.position), floor_height(shot));
  if (shot.ball) shapes.push_back(ball_at(studio.house.palette, to_float(*shot.ball)));
  return shapes;
}

// The stand and who else is there when a lens exposes.
std::vector<Shape> around(const Studio& studio, const DemoShot& shot, int lens,
                          const DemoOptions& options) {
  std::vector<Shape> shapes = stand_of(studio, shot);
  if (!options.passer_by) return shapes;
  const Walk walk{.body = to_float(shot.position),
                  .floor_height = floor_height(shot),
                  .heading_rad = static_cast<float>(rad_from_deg(shot.heading_deg)),
                  .first_lens = lens == 0};
  for (const Shape& shape : passing_guest(studio.house.scene, studio.house.palette, walk)) {
    shapes.push_back(shape);
  }
  return shapes;
}

}  // namespace

Result<Studio> Studio::open(const DemoOptions& options) {
  auto body = demo_body(options.seed, options.frame_px, options.body);
  if (!body) {
    return fail(body.error());
  }
  Studio studio;
  studio.house = build_house();
  studio.body = std::move(*body);
  studio.profile = srgb_profile();
  store_light(studio.house.scene, static_cast<float>(options.light_cell_m));
  return studio;
}

Pose pose_of(const DemoShot& shot) { return {shot.world_from_rig(), shot.position}; }

float floor_height(const DemoShot& shot) { return shot.room == "courtyard" ? -0.06F : 0.0F; }

Result<Image> render_frame(const Studio& studio, const DemoShot& shot, int lens,
                           const DemoOptions& options, const ProgressFn& progress) {
  const MountedLens mounted = lens_of(studio, shot, lens, options);
  const LensCamera camera(mounted, pose_of(shot), shot_seed(options, shot, lens, kJitter));
  const Exposure exposure{gain_of(shot, lens, options), &mounted.lens,
                          shot_seed(options, shot, lens, kNoise + 16 * shot.frame_number), true};
  return render(studio, around(studio, shot, lens, options), camera, &mounted.lens, exposure,
                progress);
}

Image render_depth(const Studio& studio, const DemoShot& shot, int lens,
                   const DemoOptions& options) {
  const MountedLens mounted = lens_of(studio, shot, lens, options);
  const LensCamera camera(mounted, pose_of(shot), 0);
  const std::vector<Shape> stand = around(studio, shot, lens, options);
  Image depth(camera.width_px(), camera.height_px(), Channels::grey, SampleType::f32);
  depth.transfer = Transfer::linear;
  parallel_for(0, depth.height(), [&](int y) {
    std::vector<CameraRay> rays(static_cast<std::size_t>(depth.width()));
    camera.cast({.v_px = y + 0.5, .first_px = 0.5, .step_px = 1}, rays);
    const auto row = depth.row<float>(y);
    for (std::size_t x = 0; x < rays.size(); ++x) {
      // The soft rim beyond the lens' field of view has no truth.
      if (rays[x].weight < 1.0F) {
        continue;
      }
      const RayHit hit = studio.house.scene.look(rays[x].ray, stand);
      row[x] = hit.what == RayHit::What::sky ? kSkyDepth_m : hit.t;
    }
  });
  return depth;
}

Result<Image> render_panorama(const Studio& studio, const DemoShot& shot,
                              const DemoOptions& options, const ProgressFn& progress) {
  const int width =
      options.panorama_width_px > 0 ? options.panorama_width_px : 2 * options.frame_px;
  const PanoramaCamera camera({width, width / 2}, studio.body.centre(), pose_of(shot),
                              shot_seed(options, shot, kNoLens, kJitter));
  const Exposure exposure{gain_of(shot, 0, options), nullptr, 0, false};
  return render(studio, stand_of(studio, shot), camera, nullptr, exposure, progress);
}

}  // namespace seamwright::demo
