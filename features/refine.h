#pragma once

// Sub-pixel refinement of a match by direct alignment, and how sure it is.
//
// Both patches are sampled straight from the frames (cubic B-spline, one interpolation) on a grid
// that is a ribbon locally, about one frame pixel apart. Gauss–Newton moves both patches by half
// of the relative displacement each, so that neither lens is the template: first a translation,
// then an affine where the texture carries it, with gain and offset beside.
//
// Covariance. With weights w, regressors g (motion, gain, offset), H = Σ w g gᵀ and residual noise
// of autocovariance C(x − y) (σ² from the residuals; its shape from the interpolation kernel,
// whose noise is correlated between neighbouring samples):
//
//   cov = (H/σ² + P)⁻¹ (Σx Σy w_x g_x C(x−y) g_yᵀ w_y / σ⁴ + P) (H/σ² + P)⁻¹
//
// P is the weak prior 1/cap² that keeps an edge from sliding along itself: across itself an edge
// constrains to hundredths of a pixel, along itself it reports about the cap.

#include <memory>
#include <optional>

#include "imaging/image.h"
#include "projection/ribbon.h"

namespace seamwright {

struct RefineOptions {
  int window = 25;               ///< samples (about frame pixels) on a side, odd, 11…41
  bool affine = true;            ///< allow the affine stage
  double min_ncc = 0.85;         ///< least correlation after alignment, −1…1
  double max_drift_px = 4;       ///< largest move from the start, frame pixels
  double sigma_floor_px = 0.03;  ///< least claimed sigma of the displacement, frame pixels
  double sigma_cap_px = 8;       ///< claimed sigma along a pure edge, frame pixels
  int max_iterations = 25;
};

/// A refined match. Positions are ribbon pixels of the grid given to PairRefiner; the sum of the
/// two start positions is kept, their difference is what was measured.
struct RefinedMatch {
  Vec2 at_a = Vec2::Zero();
  Vec2 at_b = Vec2::Zero();
  Mat2 covariance_px2 = Mat2::Zero();  ///< of at_b − at_a, ribbon pixels²
  double ncc = 0;                      ///< weighted correlation after alignment
  double noise = 0;                    ///< residual σ on the match plane's 0…1 scale
  bool affine = false;                 ///< the affine stage was used
};

/// Refines matches between two frames of one ribbon. Thread-safe once made.
class PairRefiner {
 public:
  /// Planes come from `match_plane`; kept by reference are none of the arguments.
  PairRefiner(const Image& plane_a, const MountedLens& lens_a, const Image& plane_b,
              const MountedLens& lens_b, const RibbonGrid& grid, const RefineOptions& options = {});
  PairRefiner(PairRefiner&&) noexcept;
  PairRefiner& operator=(PairRefiner&&) noexcept;
  ~PairRefiner();

  /// Empty when a patch leaves its field of view, has no texture, does not converge, drifts too far
  /// or does not correlate.
  [[nodiscard]] std::optional<RefinedMatch> refine(const Vec2& at_a, const Vec2& at_b) const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace seamwright
