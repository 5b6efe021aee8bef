#pragma once

// The demo: a Lantern body photographs an invented guest house. Everything is computed, so the
// truth is known to the last digit, and all of it is the same for the same options, whatever the
// number of threads.
//
//   DIR/frames/<shot>_front.tif, <shot>_back.tif   16-bit RGB TIFF, sRGB, EXIF
//   DIR/brackets/<shot>_1_front.tif, …             where asked for: each exposure, with a ball that
//                                                  rolls on between them
//   DIR/truth/body.template.yaml                   the body's true rig (without the shots' flex)
//   DIR/truth/poses.json                           where each shot stood, and its flex
//   DIR/truth/<shot>_front_depth.tif, …            float TIFF: metres along the ray from the pupil
//                                                  at the pixel's centre (green), 0 outside the
//                                                  image circle, +inf for the sky
//   DIR/truth/<shot>_panorama.tif                  the panorama an ideal lens at the rig's centre
//                                                  would give: no noise, fringes or vignetting,
//                                                  exposed as the front lens

#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "apps/demo/body.h"
#include "apps/demo/shots.h"
#include "base/progress.h"
#include "base/result.h"

namespace seamwright {

struct DemoOptions {
  int frame_px = 2000;     ///< width and height of a frame, 64…8192
  std::uint64_t seed = 1;  ///< another seed is another body, other flex, other noise
  BodyOptions body;
  bool mirrored = false;   ///< frames are written flipped left to right; the truth is not
  bool passer_by = false;  ///< a guest walks past, and each lens exposes at another moment; the
                           ///< ideal panorama shows nobody
  bool with_truth = true;
  bool with_panoramas = true;           ///< the slowest part of the truth
  int panorama_width_px = 0;            ///< 0: twice the frame
  std::vector<std::string> only_shots;  ///< names from demo_shots(); empty: all
  std::vector<double> brackets_ev;      ///< exposures of brackets at each stand; empty: none
  double flex_rms_deg = 0.02;           ///< of the back lens about each axis, shot by shot; 0…2
  double tilt_pitch_deg = 0;            ///< every stand leans further by this; −30…30
  double tilt_roll_deg = 0;             ///< likewise
  double raise_m = 0;                   ///< every stand is higher by this; −0.8…0.8
  double back_gain_ev = 0.25;           ///< the back lens is brighter by this; −4…4
  double light_cell_m = 0.25;           ///< fineness of the rooms' indirect light, 0.1…1

  [[nodiscard]] std::optional<Error> validate() const;
};

/// Renders and writes everything. Files appear whole or not at all. Fails on options out of range,
/// an unknown shot name, a folder that cannot be written, and when `progress` says stop.
[[nodiscard]] Result<void> write_demo(const std::filesystem::path& dir, const DemoOptions& options,
                                      const ProgressFn& progress = {});

/// The scene's geometry for tests that need exact sights of real rooms but no pictures.
class DemoScene {
 public:
  DemoScene();
  DemoScene(DemoScene&&) noexcept;
  DemoScene& operator=(DemoScene&&) noexcept;
  ~DemoScene();

  /// Metres from a point of the rig along a unit direction to the first surface; infinite towards
  /// the sky. Both in the rig's axes at that shot.
  [[nodiscard]] double distance_m(const DemoShot& shot, const Vec3& origin_in_rig,
                                  const Vec3& direction_in_rig) const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace seamwright
