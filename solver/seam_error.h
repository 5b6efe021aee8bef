#pragma once

// What a rig's errors do where two lenses meet: the misalignment at infinity over their overlap,
// split into parallax (η, looks like a depth) and sideways (ψ, does not), in native pixels.

#include <vector>

#include <Eigen/Core>

#include "base/result.h"
#include "projection/ribbon.h"
#include "solver/shared_terms.h"

namespace seamwright {

struct SeamSample {
  RibbonAngles at;
  double parallax_px = 0;
  double sideways_px = 0;
};

struct SeamSampling {
  int azimuths = 72;
  int colatitudes = 5;
  /// Samples keep this far inside both fields of view.
  double margin_rad = rad_from_deg(1.0);
};

/// Root mean square and largest absolute value over samples, px. Of nothing there is none: an
/// error, since 0 px would pass for a perfect seam.
struct SeamSummary {
  double parallax_rms_px = 0;
  double sideways_rms_px = 0;
  double rms_px = 0;  ///< √(parallax² + sideways²)
  double max_px = 0;
};
[[nodiscard]] Result<SeamSummary> summarise(const std::vector<SeamSample>& samples);

/// Sample directions of the overlap of lenses a and b that both lenses see. Empty when none.
[[nodiscard]] std::vector<RibbonAngles> seam_directions(const Rig& rig, int a, int b,
                                                        const SeamSampling& sampling = {});

/// How far apart `estimated` puts what a point at infinity shows in lens a and lens b when the
/// pictures were really taken with `truth`. Unaffected by a rotation of the whole rig.
[[nodiscard]] std::vector<SeamSample> seam_misalignment(const Rig& estimated, const Rig& truth,
                                                        int a, int b,
                                                        const SeamSampling& sampling = {});

/// The same at given directions.
[[nodiscard]] std::vector<SeamSample> seam_misalignment(
    const Rig& estimated, const Rig& truth, int a, int b,
    const std::vector<RibbonAngles>& directions);

/// Derivative of the misalignment by the shared terms: rows (parallax, sideways) per direction,
/// columns as `terms`; px per unit of the term.
[[nodiscard]] Eigen::MatrixXd seam_jacobian(const Rig& rig, const SharedTerms& terms, int a, int b,
                                            const std::vector<RibbonAngles>& directions);

/// 1σ of the misalignment at the directions from the terms' covariance.
[[nodiscard]] std::vector<SeamSample> expected_seam_error(
    const Rig& rig, const SharedTerms& terms, const Eigen::MatrixXd& covariance, int a, int b,
    const std::vector<RibbonAngles>& directions);

/// The same from a seam_jacobian at those directions.
[[nodiscard]] std::vector<SeamSample> expected_seam_error(
    const Eigen::MatrixXd& jacobian, const Eigen::MatrixXd& covariance,
    const std::vector<RibbonAngles>& directions);

}  // namespace seamwright
