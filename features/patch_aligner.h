#pragma once

#include <optional>
#include <vector>

#include <Eigen/Core>

#include "features/lens_view.h"
#include "features/refine.h"

namespace seamwright {

/// Second-order map from patch coordinates q (samples from the patch centre) to frame pixels.
class PatchMap {
 public:
  /// Around ribbon position `at`, samples `step` ribbon pixels apart, good within ±`reach` samples.
  /// Empty where that leaves the field of view or the frame.
  [[nodiscard]] static std::optional<PatchMap> around(const LensView& view, int level,
                                                      const RibbonGrid& grid, const Vec2& at,
                                                      const Vec2& step, double reach);

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

/// One alignment: the state of Gauss–Newton on a pair of patches. In patch coordinates, sample q is
/// read at q − (t + E q)/2 in lens a and at q + (t + E q)/2 in lens b.
class PatchAligner {
 public:
  struct Outcome {
    Vec2 shift = Vec2::Zero();       ///< t, samples
    Mat2 covariance = Mat2::Zero();  ///< of t, samples²
    double ncc = 0;
    double noise = 0;  ///< residual deviation, patch deviation = 1
  };

  /// One sample is `plane.step()` frame pixels; both planes are of the same level.
  PatchAligner(const SplinePlane& a, const PatchMap& map_a, const SplinePlane& b,
               const PatchMap& map_b, const RefineOptions& options);

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

  [[nodiscard]] Vec2 displacement(const Vec2& q) const;
  [[nodiscard]] Vec2 sample_position(int index) const;
  void read_values();
  void read_regressors();
  [[nodiscard]] bool take_residuals();
  struct Curvature {
    Normal symmetric;  // from the mean gradients: never flat, but noise adds to it
    Normal crossed;    // products of a's with b's gradients: noise adds nothing on average
  };
  [[nodiscard]] Curvature curvature() const;
  [[nodiscard]] float weight(int index) const {
    return weight_[static_cast<std::size_t>(index % side_)] *
           weight_[static_cast<std::size_t>(index / side_)];
  }
  [[nodiscard]] Unknowns gradient() const;
  [[nodiscard]] std::optional<Mat2> covariance() const;

  const SplinePlane& a_;
  const SplinePlane& b_;
  PatchMap map_a_;
  PatchMap map_b_;
  int max_iterations_;
  double max_drift_;  // samples
  int side_ = 0;
  Unknowns state_ = Unknowns::Zero();
  Unknowns prior_ = Unknowns::Zero();  // precision of the motion terms
  std::vector<float> weight_;          // of one row or column; the window is separable
  std::vector<float> value_a_, value_b_, residual_;
  std::vector<Regressor> regressor_a_, regressor_b_;  // by each patch's own gradient
  double scale_a_ = 0;  // 1 / deviation of the patches, 0 without texture
  double scale_b_ = 0;
  double weight_sum_ = 0;
  double second_moment_ = 0;  // Σ w qx² = Σ w qy²
  double effective_samples_ = 0;
  double variance_ = 1;  // of the residuals
};

}  // namespace seamwright
