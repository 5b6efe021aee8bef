#pragma once

// From the frames of one shot to an equirectangular panorama.
//
// Every panorama pixel is read once from each lens that has a share in it (outside the seam's blend
// that is one lens), straight from the source frame: geometry, colour fringes and scale in a single
// interpolation, float until one rounding at the end. Work goes in bands of rows, each handed on
// when done: memory holds the frames and one band, whatever the panorama's height. Same inputs give
// the same bytes for every thread count and band size.

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "compose/render/gain.h"
#include "compose/render/row_sink.h"
#include "compose/render/seam_plan.h"
#include "imaging/frame.h"
#include "projection/rig.h"
#include "sampling/picture_sampler.h"

namespace seamwright {

struct RenderOptions {
  /// Panorama width, even, 64…262144 px; its height is half of it. 0: native_width().
  int width_px = 0;
  ResampleKernel kernel = ResampleKernel::catmull_rom;
  bool gain_match = true;
  /// Angle from the seam to where one lens is alone, 0.05…30 degrees. Wider hides differences of
  /// brightness better, narrower shows less of near objects twice. Not used with `seams`.
  double blend_half_width_deg = 1.5;
  /// Rows rendered at a time, at least 1; rounded up to whole cells of 32. More rows cost memory.
  int band_rows = 128;
  /// What joins near objects at the seams; it must outlive the rendering. Null: every lens is read
  /// as if all were far.
  const SeamPlan* seams = nullptr;

  [[nodiscard]] std::optional<Error> validate() const;
};

struct RenderReport {
  int width_px = 0;
  int height_px = 0;
  int native_width_px = 0;
  GainMatch gains;
  /// Pixels that no lens sees; they are black.
  std::int64_t unseen_px = 0;

  /// The width asked for holds no more detail than the native one.
  [[nodiscard]] bool beyond_native() const { return width_px > native_width_px; }
};

/// Raster and sample kind a render will have. Integer frames give 16 bits, float frames float.
struct PanoramaShape {
  int width_px = 0;
  int height_px = 0;
  int native_width_px = 0;
  Channels channels = Channels::rgb;
  SampleType type = SampleType::u16;
  std::vector<std::byte> icc_profile;
  Transfer transfer = Transfer::srgb;
};

/// Width at which the panorama has the lenses' finest resolution: 2π × px/rad, to the nearest
/// multiple of 16.
[[nodiscard]] int native_width(const Rig& rig);

/// Fails on options, on frames that do not fit the rig in number or shape, or one another in kind
/// or colour profile.
[[nodiscard]] Result<PanoramaShape> panorama_shape(const Rig& rig, std::span<const Frame> frames,
                                                   const RenderOptions& options);

/// Renders into `sink`, rows of the panorama_shape(). Stages told: "matching gains", "rendering".
[[nodiscard]] Result<RenderReport> render_panorama(const Rig& rig, std::span<const Frame> frames,
                                                   const RenderOptions& options, RowSink& sink,
                                                   const ProgressFn& progress = {});

/// One of the pictures that a panorama is made of: Σ mask · picture over the lenses, in linear
/// light, is the panorama.
enum class LayerKind : std::uint8_t {
  picture,  ///< what a lens shows after the warp and the blend, alpha 1 wherever it sees
  mask,     ///< its share: grey, code values proportional to it
};
struct Layer {
  int lens = 0;
  LayerKind kind = LayerKind::picture;
};

/// Raster of a layer.
[[nodiscard]] PanoramaShape layer_shape(const PanoramaShape& panorama, LayerKind kind);

/// Renders a layer into `sink`, rows of its layer_shape(). Stage told: "rendering".
[[nodiscard]] Result<void> render_layer(const Rig& rig, std::span<const Frame> frames,
                                        const RenderOptions& options, const Layer& layer,
                                        RowSink& sink, const ProgressFn& progress = {});

struct Panorama {
  Image image;
  RenderReport report;
};

/// The same in memory.
[[nodiscard]] Result<Panorama> render_panorama(const Rig& rig, std::span<const Frame> frames,
                                               const RenderOptions& options,
                                               const ProgressFn& progress = {});

}  // namespace seamwright
