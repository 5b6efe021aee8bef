#pragma once

// Whole pictures of one shot, in memory.

#include "apps/demo/demo.h"
#include "apps/demo/house/house.h"
#include "apps/demo/sensor.h"
#include "base/progress.h"

namespace seamwright::demo {

/// What every picture of a run shares.
struct Studio {
  House house;
  Rig body;
  TransferCurve curve = TransferCurve::srgb();
  std::vector<std::byte> profile;
  Sensor sensor;

  /// Builds the house, stores its light and draws the body.
  [[nodiscard]] static Result<Studio> open(const DemoOptions& options);
};

[[nodiscard]] Pose pose_of(const DemoShot& shot);
/// Height of the ground where the shot stands.
[[nodiscard]] float floor_height(const DemoShot& shot);

/// What lens `lens` of the shot's rig records: 16-bit RGB.
[[nodiscard]] Result<Image> render_frame(const Studio& studio, const DemoShot& shot, int lens,
                                         const DemoOptions& options, const ProgressFn& progress);
/// What stands for the sky in depth pictures: no reader takes samples that are not finite.
inline constexpr float kSkyDepth_m = 1e6F;

/// Metres along each pixel's ray, float grey; 0 beyond the lens' field of view.
[[nodiscard]] Image render_depth(const Studio& studio, const DemoShot& shot, int lens,
                                 const DemoOptions& options);
/// The ideal panorama: 16-bit RGB.
[[nodiscard]] Result<Image> render_panorama(const Studio& studio, const DemoShot& shot,
                                            const DemoOptions& options, const ProgressFn& progress);

}  // namespace seamwright::demo
