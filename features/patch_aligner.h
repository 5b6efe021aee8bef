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
  [[nodiscard]] static std::optional<PatchMap> around(const LensView& view, const RibbonGrid& grid,
                                                      const Vec2& at, const Vec2& step,
                                                      double reach);

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

  PatchAligner(const LensView& a, const PatchMap& map_a, const LensView& b, const PatchMap& map_b,
               const RefineOptions& options);

  /// Empty when the patches have no texture, drift too far or do not converge.
  [[nodiscard]] std::optional<Outcome> align();

 private:
  // Motion: t (2), E by rows (4). Beside it gain and offset.
  static constexpr int kMotion = 6;
  static constexpr int kUnknowns = 8;
  using Unknowns = Eigen::Matrix<double, kUnknowns, 1>;
  using Normal = Eigen::Matrix<double, kUnknowns, kUnknowns>;
  using Regressor = Eigen::Matrix<float, kUnknowns, 1>;

  [[nodiscard]] Vec2 displacement(const Vec2& q) const;
  [[nodiscard]] Vec2 sample_position(int index) const;
  void read_values();
  void read_regressors();
  [[nodiscard]] bool take_residuals();
  [[nodiscard]] Normal information() const;
  [[nodiscard]] Unknowns gradient() const;
  [[nodiscard]] Mat2 covariance() const;

  const LensView& a_;
  const LensView& b_;
  PatchMap map_a_;
  PatchMap map_b_;
  RefineOptions options_;
  int side_ = 0;
  Unknowns state_ = Unknowns::Zero();
  Unknowns prior_ = Unknowns::Zero();  // precision of the motion terms
  std::vector<float> weight_;          // of one row or column; the window is separable
  std::vector<float> value_a_, value_b_, residual_;
  std::vector<Regressor> regressor_;
  double scale_a_ = 0;  // 1 / deviation of the patches, 0 without texture
  double scale_b_ = 0;
  double weight_sum_ = 0;
  double effective_samples_ = 0;
  double variance_ = 1;  // of the residuals
};

}  // namespace seamwright
