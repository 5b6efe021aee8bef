#pragma once

// Vignetting and gains from what ties show: the same point of a surface through different lenses,
// shots and radii. In linear light
//
//   log I = log albedo(point) + log gain(shot, lens) + log V_lens(r̂)
//
// solved by robust least squares (Cauchy), points eliminated, V the even polynomial of
// VignettingTerms, the same for every colour. It assumes surfaces that look equally bright from
// everywhere (Lambert); glossy ones are outliers. Gains are free per shot and lens, so exposures
// may differ as they like.
//
// Ties between the lenses of one shot lie near both rims and tell gains only: the vignetting then
// stays at its start, and the fit says so. Tracks through several shots see a point at different
// radii and tell the whole profile.

#include <array>
#include <optional>
#include <span>
#include <vector>

#include <Eigen/Core>

#include "features/light_planes.h"
#include "projection/rig.h"
#include "projection/tie.h"

namespace seamwright {

struct PhotometricOptions {
  int patch_px = 9;              ///< side of the patch whose mean light counts, odd
  double darkest = 0.002;        ///< mean light below this tells nothing
  double roughest = 0.6;         ///< patches with more deviation over mean are left out
  double roughness_share = 0.3;  ///< of that deviation counts as error: patches do not quite agree
  double sigma_floor = 0.02;     ///< of log light
  double prior_sigma = 0.3;      ///< of v1, v2, v3 around the start
  double max_sigma = 0.03;       ///< a profile less sure than this anywhere is not used
  int minimum_points = 60;       ///< that see a lens at radii apart by 0.15 of its rim
};

/// The light of one sight of a tie.
struct LightSample {
  int shot = 0;
  int lens = 0;
  double r_hat = 0;
  std::array<double, 3> light{};  ///< linear; grey frames use all three alike
  double sigma = 0;               ///< of log light
};

/// The sights of one tie that could be measured.
using LightPoint = std::vector<LightSample>;

/// Mean light around a pixel; empty outside the frame or lens, where a pixel is clipped, and where
/// the patch is dark or rough.
[[nodiscard]] std::optional<LightSample> measure_light(const LightPlanes& planes, const Lens& lens,
                                                       const Vec2& px,
                                                       const PhotometricOptions& options = {});

struct LensPhotometry {
  VignettingTerms vignetting;
  bool learned = false;      ///< false: vignetting is the start's, the points do not tell it
  int wide_points = 0;       ///< points that see this lens and another sight far apart in radius
  double rim_sigma = 0;      ///< 1σ of V(1), relative; of a vignetting that was learned
  double largest_sigma = 0;  ///< the same, largest over the profile
};

struct PhotometricFit {
  std::vector<LensPhotometry> lenses;
  /// log2 of light per channel against the first lens, median over shots; 0 for the first.
  std::vector<std::array<double, 3>> gain_ev;
  std::vector<std::array<double, 3>> gain_spread_ev;  ///< between shots, robust σ
  Eigen::MatrixXd covariance;                         ///< of v1…v3 of every lens
  int points = 0;                                     ///< with two sights or more
  int sights = 0;
  double spread = 0;  ///< robust σ of whitened residuals
  double rms = 0;     ///< of the inliers' residuals, log light
};

/// `points` of any number of shots; `start` gives the vignetting to begin with.
[[nodiscard]] PhotometricFit fit_photometry(std::span<const LightPoint> points, int shots,
                                            const Rig& start,
                                            const PhotometricOptions& options = {});

}  // namespace seamwright
