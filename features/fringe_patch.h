#pragma once

#include <array>
#include <optional>
#include <vector>

#include <Eigen/Core>

#include "features/fringe.h"
#include "projection/dense_algebra.h"
#include "sampling/spline_plane.h"

namespace seamwright {

/// A patch of green that another colour is aligned to. With s the shift along the radius:
///
///   colour(x + s e) ≈ α green(x) + β + γ·x − α δs ∂green/∂r
///
/// The regressors come from green alone, so one factorisation serves every step and both colours;
/// at the solution the last coefficient is zero, and noise in it does not pull.
class FringePatch {
 public:
  /// `along` is the unit vector outwards. Empty without texture along the radius.
  [[nodiscard]] static std::optional<FringePatch> at(const SplinePlane& green, const Vec2& px,
                                                     const Vec2& along, int window);

  /// Shift of `colour` against green, searched within ± `reach_px`. `radius_px` is left 0.
  [[nodiscard]] std::optional<FringeSample> align(const SplinePlane& colour, int reach_px,
                                                  double min_correlation) const;

 private:
  // α, β, ramp along, ramp across, shift along, shift across.
  static constexpr int kTerms = 6;
  static constexpr int kWithoutShifts = 4;
  static constexpr int kAlong = 4;
  static constexpr int kAcross = 5;
  using Row = Eigen::Matrix<double, kTerms, 1>;
  using Normal = Eigen::Matrix<double, kTerms, kTerms>;

  // A regression on the first `terms` regressors.
  struct Fit {
    Row coefficients = Row::Zero();
    double residual2 = 0;    // weighted mean square of what is left
    double correlation = 0;  // of the colour with the fit
  };

  FringePatch() = default;
  [[nodiscard]] Vec2 position(std::size_t sample, double shift_px) const;
  [[nodiscard]] std::vector<double> read(const SplinePlane& colour, double shift_px) const;
  [[nodiscard]] Fit fit(const std::vector<double>& values, int terms) const;
  [[nodiscard]] double start(const SplinePlane& colour, int reach_px) const;
  [[nodiscard]] const SymmetricFactor& factor(int terms) const {
    return factors_[static_cast<std::size_t>(terms - kWithoutShifts)];
  }

  Vec2 px_ = Vec2::Zero();
  Vec2 along_ = Vec2::UnitX();
  int half_ = 0;
  std::vector<double> weight_;  // sums to 1
  std::vector<Row> rows_;
  Normal normal_ = Normal::Zero();  // Σ w x xᵀ
  Normal noise_ = Normal::Zero();   // Σ w² x xᵀ
  // Of the first n terms, n from kWithoutShifts on.
  std::array<SymmetricFactor, kTerms - kWithoutShifts + 1> factors_;
};

}  // namespace seamwright
