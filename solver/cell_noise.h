#pragma once

// Noise that sights share.
//
// Sights of one part of a lens' field, a cell, err together. In one shot they look at the same
// piece of furniture, whose look changes with the point of view; in all shots they share what the
// lens model leaves. Both are shifts, in px of the frame, of a size that nobody knows. With the
// points taken out (tie_rows.h), the rows at the minimum are
//
//     z = A x + S₁ u₁ + S₂ u₂ + e      e ~ N(0, I),  u_k ~ N(0, τ_k² I)
//
// where S₁ has two columns a cell of each shot, S₂ two a cell of each lens: what a shift of one px
// does. Residuals r = M z with M = I − A H⁻¹ Aᵀ show how large τ is: with K_kl = S_kᵀ M S_l,
//
//     E ‖S_kᵀ r‖² = tr K_kk + Σ_l τ_l² ‖K_kl‖²
//
// two equations, solved for what is not negative (method of moments, the MINQUE of Rao 1971,
// "Estimation of variance and covariance components"). The unknowns are then known to
//
//     H⁻¹ + Σ_k τ_k² Y_k Y_kᵀ          Y_k = H⁻¹ Aᵀ S_k
//
// the sandwich of White 1980 with this model of the noise as its filling. It is never less than
// H⁻¹, and it is H⁻¹ where sights err by themselves.

#include <tuple>
#include <vector>

#include <Eigen/Core>
#include <Eigen/SparseCore>

#include "projection/lens.h"
#include "solver/adjust.h"

namespace seamwright {

/// A part of a lens' field in one shot.
struct Cell {
  int shot = 0;
  int lens = 0;
  int part = 0;
  bool operator==(const Cell&) const = default;
  bool operator<(const Cell& other) const {
    return std::tie(shot, lens, part) < std::tie(other.shot, other.lens, other.part);
  }
};

/// Four parts around the axis, eight around these, twelve at the rim: about alike in size.
[[nodiscard]] int part_of_field(const Lens& lens, const Vec2& px);

/// Sums over rows: with A their derivatives by `unknowns` unknowns, S those by the shifts of cells
/// and r what is left.
struct CellRows {
  std::vector<Cell> cells;                  ///< two columns each
  Eigen::MatrixXd cross;                    ///< AᵀS, unknowns × columns
  std::vector<Eigen::Triplet<double>> own;  ///< SᵀS, both halves; equal places add up
  Eigen::VectorXd score;                    ///< Sᵀr
};

/// From the rows of all parts, cells in rising order, each once. `covariance` is H⁻¹, H = AᵀA and
/// what is known before.
[[nodiscard]] SharedNoise estimate_shared_noise(const CellRows& rows,
                                                const Eigen::MatrixXd& covariance);

/// The covariance of the unknowns under that noise.
[[nodiscard]] Eigen::MatrixXd widened(const Eigen::MatrixXd& covariance, const CellRows& rows,
                                      const SharedNoise& noise);

/// Adds rows up; `columns[p][i]` is the place among `unknowns` of what part p calls i.
[[nodiscard]] CellRows joined(const std::vector<CellRows>& parts,
                              const std::vector<std::vector<int>>& columns, int unknowns);

}  // namespace seamwright
