#pragma once

// Lateral colour of a lens, measured in its own frames: by how much red and blue are larger or
// smaller pictures than green.
//
// At textured places all over the field a patch of red (blue) is aligned to green along the radius,
// in linear light, where a blurred border between two surfaces lies at the same place in every
// colour. Gain, offset and a ramp are free: surfaces have colours of their own. The tangential
// shift, which lateral colour cannot cause, is measured beside it as an honest check. Shifts of
// many frames are then fitted together, robustly, with r_c − r = r (a0 + a1 r̂² + a2 r̂⁴); terms that
// the patches do not support are dropped.

#include <span>
#include <vector>

#include <Eigen/Core>

#include "features/light_planes.h"
#include "projection/lens.h"

namespace seamwright {

struct FringeOptions {
  int window = 19;               ///< pixels on a side, odd
  double search_share = 0.004;   ///< largest shift looked for, share of the rim radius
  int rings = 12;                ///< cells of the even spread: along the radius …
  int sectors = 24;              ///< … and around
  int per_cell = 3;              ///< patches a cell and frame
  double min_correlation = 0.9;  ///< between the colours after alignment
  double max_sigma_px = 0.3;     ///< a patch that knows its shift less well is left out
  double sigma_floor_px = 0.03;  ///< added in quadrature: colours of real texture differ in shape
  int minimum_patches = 40;      ///< of one lens and colour; fewer support nothing
  /// A highest term within this of zero is dropped: its noise would be more than what it mends.
  double drop_below_sigmas = 1.0;
};

/// How far one colour lies from green at one place of a frame.
struct FringeSample {
  Vec2 px = Vec2::Zero();    ///< in green
  double radius_px = 0;      ///< of px, from the principal point
  double radial_px = 0;      ///< outwards
  double tangential_px = 0;  ///< towards growing azimuth (x to y)
  double sigma_px = 0;       ///< of radial_px
  double tangential_sigma_px = 0;
};

struct FringeSamples {
  std::vector<FringeSample> red, blue;
};

/// Red and blue against green over one frame. Of `lens` only its centre, its field of view and its
/// frame size count; `planes` has that size (asserted). Empty for grey frames.
[[nodiscard]] FringeSamples measure_fringes(const LightPlanes& planes, const Lens& lens,
                                            const FringeOptions& options = {});

struct FringeFit {
  FringeTerms terms;
  int order = 0;  ///< terms supported by the data: 0 none, 3 all
  Eigen::Matrix3d covariance = Eigen::Matrix3d::Zero();  ///< of a0, a1, a2; 0 where dropped
  int patches = 0;
  int outliers = 0;               ///< beyond 4 sigma
  double before_px = 0;           ///< RMS of the shifts of the inliers in the outer tenth of r̂
  double after_px = 0;            ///< what is left of them: noise of single patches included
  double tangential_mean_px = 0;  ///< robust mean; about 0 where this is lateral colour
  double spread = 0;              ///< robust σ of whitened residuals; 1 when sigmas are right

  /// 1σ of the fitted shift at a radius, px.
  [[nodiscard]] double sigma_px(double r_hat, double rim_radius_px) const;
};

/// One colour of one lens, from samples of any number of frames.
[[nodiscard]] FringeFit fit_fringe(std::span<const FringeSample> samples, double rim_radius_px,
                                   const FringeOptions& options = {});

}  // namespace seamwright
