#pragma once

// Sub-pixel refinement of a match by direct alignment, and how sure it is.
//
// Both patches are sampled straight from the frames (cubic B-spline, one interpolation) on a grid
// that is a ribbon locally, about one frame pixel apart. Gauss–Newton moves both patches by half
// of the relative displacement each, so that neither lens is the template. An affine difference is
// estimated with the displacement, under a prior of what depth slopes and a nearly right rig can
// cause, so that texture decides how much of it is used. Gain, offset and a brightness ramp are
// free: vignetting runs opposite ways in the two lenses and would bias faint texture by tenths of a
// pixel. A coarser level goes first; the surer of the two is returned.
//
// Covariance. With weights w, regressors g (motion and brightness), H = Σ w g gᵀ and residual noise
// of autocovariance C(x − y) (σ² from the residuals; its shape from the interpolation kernel,
// whose noise is correlated between neighbouring samples):
//
//   cov = (H/σ² + P)⁻¹ (Σx Σy w_x g_x C(x−y) g_yᵀ w_y / σ⁴ + P) (H/σ² + P)⁻¹
//
// In H the gradients of one patch meet those of the other, so that their noise adds nothing: on
// faint texture the plain form would promise far too much.
//
// P is the weak prior 1/cap² that keeps an edge from sliding along itself: across itself an edge
// constrains to hundredths of a pixel, along itself it reports about the cap.

#include <memory>
#include <optional>

#include "base/result.h"
#include "features/pair_match.h"
#include "projection/ribbon.h"
#include "sampling/lens_view.h"

namespace seamwright {

struct RefineOptions {
  int window = 25;               ///< samples (about frame pixels) on a side, odd, 11…41
  bool affine = true;            ///< patches may differ by an affine map, not only by a shift
  double min_ncc = 0.85;         ///< least correlation after alignment, −1…1
  double max_drift_px = 4;       ///< largest change of the displacement, frame pixels
  double sigma_floor_px = 0.02;  ///< added in quadrature to every claimed sigma, frame pixels
  double sigma_cap_px = 8;       ///< claimed sigma along a pure edge, frame pixels
  double max_sigma_px = 0.5;     ///< a patch that knows no direction better than this is refused
  int max_iterations = 25;

  [[nodiscard]] std::optional<Error> validate() const;
};

/// Refines matches between two frames on the ribbon of their lenses. Thread-safe.
class PairRefiner {
 public:
  /// The views must outlive the refiner.
  PairRefiner(const LensView& a, const LensView& b, const RibbonGrid& grid,
              const RefineOptions& options = {});
  PairRefiner(PairRefiner&&) noexcept;
  PairRefiner& operator=(PairRefiner&&) noexcept;
  ~PairRefiner();

  /// From ribbon px of the grid. The middle between the two starts is kept; their difference is
  /// what is measured. Empty when a patch leaves its field of view, has no texture, does not
  /// converge, drifts too far, does not correlate, or straddles a depth edge (its middle moves
  /// otherwise than the whole).
  [[nodiscard]] std::optional<PairMatch> refine(const Vec2& at_a, const Vec2& at_b) const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace seamwright
