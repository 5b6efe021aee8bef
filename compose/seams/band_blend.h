#pragma once

// Multi-band blending of two lenses (Burt & Adelson 1983, ACM TOG 2:217–236) without a pyramid at
// full size.
//
// With D = A − B, the blend of all bands is B + Σ_k M_k · L_k(D): each band L_k crosses over with
// its own mask M_k, as wide as the band is coarse. The finest mask M_0 is a feather of about two
// pixels, M_0 · D = Σ_k M_0 · L_k(D), so
//
//   blend = M_0 · (A + add_a) + (1 − M_0) · (B + add_b)
//   add_b = Σ_{k≥1} M_k · L_k(D),  add_a = add_b − Σ_{k≥1} L_k(D)
//
// Both additions are smooth: they are computed on a reduced raster and interpolated, and full
// pixels are sampled once, by the sharp composite. M_k is 1 at lens a's border of the overlap and 0
// at lens b's, exactly: outside the ribbon nothing changes.
//
// Pixels that cannot be compared (clipped, hidden, outside, moving subjects) are left out of D by
// normalised convolution: a blown window gives no colour to the wall beside it.

#include <array>
#include <optional>

#include "base/result.h"
#include "compose/seams/gain_field.h"
#include "compose/seams/ribbon_corners.h"
#include "compose/seams/seam_path.h"
#include "compose/seams/seam_views.h"
#include "sampling/lens_shader.h"

namespace seamwright {

struct BandBlendOptions {
  double finest_px = 3;  ///< σ of the finest band that is blended, px of the ribbon's raster, ≥ 1
  double most_step_ev = 2;  ///< pixels that differ by more are not compared
  bool gain_field = true;
  GainFieldOptions gains = {};

  [[nodiscard]] std::optional<Error> validate() const;
};

/// A finished blend, to be looked up at any resolution. Thread-safe.
class BandBlend {
 public:
  /// A raster of tones of the views' size: gain and add of a pixel lie side by side.
  class Tones {
   public:
    /// A pixel: three gains and one of 1, what three channels add and nothing.
    static constexpr std::size_t kFloats = 8;
    static constexpr std::size_t kAdd = 4;  ///< where the latter begin

    /// Neutral everywhere.
    Tones(int width_px, int height_px);

    [[nodiscard]] int width_px() const { return width_px_; }
    [[nodiscard]] int height_px() const { return height_px_; }
    [[nodiscard]] float* row(std::size_t y) { return value_.data() + y * row_floats(); }
    [[nodiscard]] const float* row(std::size_t y) const { return value_.data() + y * row_floats(); }

   private:
    [[nodiscard]] std::size_t row_floats() const {
      return kFloats * static_cast<std::size_t>(width_px_);
    }

    int width_px_;
    int height_px_;
    std::vector<float> value_;
  };
  BandBlend(bool closed, Tones of_a, Tones of_b);

  /// Tone of a lens at a continuous pixel of the ribbon's raster, interpolated. Exactly neutral
  /// from the border on beyond which that lens is alone, and beyond the raster. Where a channel of
  /// the lens is clipped its light is unknown: leave white as it is (ease the tone out from nearly
  /// clipped to clipped).
  [[nodiscard]] LensTone tone_a(double x_px, double row_px) const {
    return tone(of_a_, corners(x_px, row_px));
  }
  [[nodiscard]] LensTone tone_b(double x_px, double row_px) const {
    return tone(of_b_, corners(x_px, row_px));
  }
  [[nodiscard]] const Tones& tones_a() const { return of_a_; }
  [[nodiscard]] const Tones& tones_b() const { return of_b_; }

 private:
  [[nodiscard]] static LensTone tone(const Tones& of, const RibbonCorners& at);
  [[nodiscard]] RibbonCorners corners(double x_px, double row_px) const {
    return {x_px, row_px, of_a_.width_px(), of_a_.height_px(), closed_};
  }

  bool closed_;
  Tones of_a_;
  Tones of_b_;
};

/// Computes the blend of two views along a seam. Fails on bad options and on rasters that do not
/// fit one another.
[[nodiscard]] Result<BandBlend> band_blend(const SeamViews& views, const SeamPath& seam,
                                           const BandBlendOptions& options = {});

}  // namespace seamwright
