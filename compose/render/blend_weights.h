#pragma once

#include <cstddef>
#include <span>

namespace seamwright {

/// Of a body, as rendering goes.
inline constexpr std::size_t kMaxLenses = 8;

/// What is known better than by margins about two lenses in one direction.
struct PairStep {
  std::size_t a = 0;
  std::size_t b = 1;
  double share_a = 1;  ///< of lens a where only these two are, 0…1
  double weight = 0;   ///< 1: margins do not matter between the two; 0: they alone do
};

/// Shares of the lenses in one direction of the panorama.
///
/// The margin of a lens is the angle to where its picture ends (LensMap::margin_rad). Between two
/// lenses the seam runs where margins are equal, the middle of the overlap, and the shares change
/// there by a smooth step of the given half width, narrowed to nine tenths of what the overlap
/// offers: a lens' share is 0 before its rim. More than two lenses multiply their pairwise steps;
/// where that leaves nobody (a before b, b before c, c before a), margins alone decide.
class BlendWeights {
 public:
  /// `half_width_rad` > 0: angle from the seam to where one lens is alone.
  explicit BlendWeights(double half_width_rad) : half_width_rad_(half_width_rad) {}

  [[nodiscard]] double half_width_rad() const { return half_width_rad_; }

  /// Shares, summing to 1, of lenses with these margins, at most kMaxLenses; all 0 where no margin
  /// is positive.
  /// A lens beyond its margin has no share, whatever `known` says.
  void at(std::span<const double> margins_rad, std::span<double> shares,
          std::span<const PairStep> known = {}) const;

 private:
  // Shares before they are made to sum to 1; returns their sum.
  double multiply_steps(std::span<const double> margins_rad, std::span<double> shares,
                        std::span<const PairStep> known) const;

  double half_width_rad_;
};

}  // namespace seamwright
