#pragma once

// What a solve hands on: the rig, how sure it is of every term, and honest quality figures.

#include <string>
#include <vector>

#include <Eigen/Core>

#include "projection/rig.h"

namespace seamwright {

/// Joint covariance of the shared terms. `names[i]` labels row i: "lens0.focal_px",
/// "lens1.radial_2", "lens1.rotation_x_rad" (rotation vector of a small left-multiplied rotation in
/// the rig frame), "lens1.pupil_y" (units of Rig). Terms held fixed are absent.
struct TermCovariance {
  std::vector<std::string> names;
  Eigen::MatrixXd values;  ///< names.size() square, symmetric, positive semi-definite

  [[nodiscard]] bool empty() const { return names.empty(); }
};

struct SolutionQuality {
  int shots = 0;
  int ties = 0;                ///< used in the solve
  int ties_rejected = 0;       ///< outliers, or not projectable
  double rms_px = 0;           ///< of the inliers' residuals per coordinate, frame pixels
  double max_px = 0;           ///< largest inlier residual
  double inlier_share = 0;     ///< 0…1
  double residual_spread = 0;  ///< robust σ of whitened residuals; 1 when claimed noise is right
  double expected_seam_parallax_px = 0;  ///< RMS 1σ at infinity over the overlap, from covariance
  double expected_seam_sideways_px = 0;
  double flex_sigma_rad = 0;  ///< spread of the per-shot rotation between lenses, per axis
};

/// A direction in term space that the data leave weak, in a person's words.
struct WeakDirection {
  std::string what;    ///< e.g. "angular scale and ring depth trade off"
  std::string remedy;  ///< e.g. "add one shot with something beyond 15 m all around"
  double seam_px = 0;  ///< 1σ effect on the seam at infinity, px
};

struct RigSolution {
  Rig rig;
  TermCovariance covariance;
  SolutionQuality quality;
  std::vector<WeakDirection> weak;
};

}  // namespace seamwright
