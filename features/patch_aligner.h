#pragma once

#include <functional>
#include <optional>
#include <vector>

#include <Eigen/Core>

#include "features/refine.h"
#include "sampling/lens_view.h"

namespace seamwright {

/// Second-order map from patch coordinates q (samples from the patch centre) to frame pixels.
class PatchMap {
 public:
  /// Around ribbon position `at`, samples `step` ribbon pixels apart, good within ±`reach` samples.
  /// Empty where that leaves the field of view or the frame.
  [[nodiscard]] static std::optional<PatchMap> around(const LensView& view, int level,
                                                      const RibbonGrid& grid, const Vec2& at,
                                                      const Vec2& step, double reach);

  /// The same of any map from q to frame pixels; empty where `frame_px` is.
  using FramePx = std::function<std::optional<Vec2>(const Vec2& q)>;
  [[nodiscard]] static std::optional<PatchMap> through(const LensView& view, int level,
                                                       const FramePx& frame_px, double reach);

  [[nodiscard]] Vec2 frame_px(const Vec2& q) const {
    return base_ + q.x() * (x_ + q.x() * xx_ + q.y() * xy_) + q.y() * (y_ + q.y() * yy_);
  }
  /// d frame px / d q.
  [[nodiscard]] Mat2 jacobian(const Vec2& q) const {
    Mat2 j;
    j.col(0) = x_ + 2 * q.x() * xx_ + q.y() * xy_;
    j.col(1) = y_ + 2 * q.y() * yy_ + q.x() * xy_;
    return j;
  }

 private:
  Vec2 base_, x_, y_, xx_, xy_, yy_;
};

/// What is known of the patches' difference before looking.
struct PatchPrior {
  // Spread of the affine difference's terms: rows of E, sideways then parallax. On a ribbon
  // depth slopes shear and stretch in parallax only; sideways, the rig's small errors are all there
  // is.
  double sideways_affine = 0.01;
  double parallax_affine = 0.06;
  bool a_stays = false;  ///< only the patch of lens b moves
};

/// One alignment: the state of Gauss–Newton on a pair of patches. In patch coordinates, sample q is
/// read at q − (t + E q)/2 in lens a and at q + (t + E q)/2 in lens b, or, where a stays, at q and
/// at q + t + E q.
class PatchAligner {
 public:
  struct Outcome {
    Vec2 shift = Vec2::Zero();       ///< t, samples
    Mat2 affine = Mat2::Zero();      ///< E
    Mat2 covariance = Mat2::Zero();  ///< of t, samples²
    double ncc = 0;
    double noise = 0;  ///< residual deviation, patch deviation = 1
  };

  /// One sample is `plane.step()` frame pixels; both planes are of the same level.
  PatchAligner(const SplinePlane& a, const PatchMap& map_a, const SplinePlane& b,
               const PatchMap& map_b, const RefineOptions& options, const PatchPrior& known = {});

  /// Empty when the patches have no texture, drift too far or do not converge.
  [[nodiscard]] std::optional<Outcome> align();

 private:
  // Motion: t (2), E by rows (4). Beside it what brightness may do: gain, offset, and a ramp in
  // both directions, since vignetting runs opposite ways in the two lenses.
  static constexpr int kMotion = 6;
  static constexpr int kUnknowns = kMotion + 4;
  using Unknowns = Eigen::Matrix<double, kUnknowns, 1>;
  using Normal = Eigen::Matrix<double, kUnknowns, kUnknowns>;
  using Regressor = Eigen::Matrix<float, kUnknowns, 1>;

  // One lens' patch: values with mean, slopes and deviation taken out, and how they change with
  // each unknown as the patch's own gradient tells it.
  struct Patch {
    const SplinePlane* plane = nullptr;
    PatchMap map;
    double towards = 0;  // its share of the displacement: −½ for a, +½ for b, or 0 and 1
    std::vector<float> values;
    std::vector<Regressor> regressors;
    double scale = 0;  // 1 / deviation of the raw values
  };

  // Σ w g gᵀ of the mean gradients: never flat, but noise adds to it.
  // Σ w of a's times b's gradients: noise adds nothing on average.
  struct Curvature {
    Normal symmetric = Normal::Zero();
    Normal crossed = Normal::Zero();
  };

  [[nodiscard]] Vec2 moved(const Patch& patch, const Vec2& q) const;
  void read_values(Patch& patch) const;
  [[nodiscard]] bool standardise(Patch& patch) const;
  void read_regressors(Patch& patch) const;
  [[nodiscard]] bool update_residuals();
  void update_curvature();
  [[nodiscard]] Unknowns gradient() const;
  [[nodiscard]] double energy(double variance) const;
  [[nodiscard]] bool converge();
  [[nodiscard]] Normal trusted_curvature() const;
  [[nodiscard]] std::optional<Mat2> covariance() const;
  [[nodiscard]] Mat2 spread(const std::vector<Eigen::Vector2f>& influence) const;

  Patch a_;
  Patch b_;
  int side_;
  int max_iterations_;
  double max_drift_;  // samples
  Unknowns state_ = Unknowns::Zero();
  Unknowns prior_ = Unknowns::Zero();  // precision of the unknowns
  std::vector<Vec2> q_;                // patch coordinates of every sample
  std::vector<float> weight_;          // and its weight
  double weight_sum_ = 0;
  double second_moment_ = 0;  // Σ w qx² = Σ w qy²
  double effective_samples_ = 0;
  std::vector<float> residual_;  // b − a
  double variance_ = 1;          // of the residuals
  Curvature curvature_;
};

}  // namespace seamwright
