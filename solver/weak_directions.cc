#include <algorithm>
#include <cmath>

#include <Eigen/Eigenvalues>
#include <fmt/format.h>

#include "solver/learn_rig.h"
#include "solver/seam_error.h"
#include "solver/symmetric.h"

namespace seamwright {

namespace {

// How a misalignment pattern is spread over azimuth: shares of its mean square.
struct Pattern {
  double parallax_constant = 0;
  double parallax_cosine = 0;
  double sideways = 0;
};

Pattern pattern_of(const Eigen::VectorXd& seam, const std::vector<RibbonAngles>& directions) {
  double constant = 0;
  double cosine = 0;
  double sine = 0;
  double sideways = 0;
  const auto count = static_cast<double>(directions.size());
  for (std::size_t i = 0; i < directions.size(); ++i) {
    const auto row = static_cast<Eigen::Index>(2 * i);
    constant += seam[row] / count;
    cosine += seam[row] * std::cos(directions[i].psi_rad) * 2 / count;
    sine += seam[row] * std::sin(directions[i].psi_rad) * 2 / count;
    sideways += seam[row + 1] * seam[row + 1];
  }
  const double total = seam.squaredNorm();
  return {constant * constant * count / total, (cosine * cosine + sine * sine) * count / 2 / total,
          sideways / total};
}

WeakDirection in_words(const Pattern& pattern, double seam_px, int a, int b) {
  WeakDirection weak;
  weak.seam_px = seam_px;
  const std::string pair = fmt::format("lenses {} and {}", a, b);
  if (pattern.parallax_constant > 0.5) {
    weak.what = pair + ": angular scale and ring depth trade off";
    weak.remedy =
        "add a second stand in the same room, or one shot with something beyond 15 m all around";
  } else if (pattern.parallax_cosine > 0.5) {
    weak.what = pair + ": tilt between the lenses and a room deeper on one side trade off";
    weak.remedy = "add shots at other headings, or one with something far on both sides";
  } else if (pattern.sideways > 0.5) {
    weak.what = pair + ": sideways fit around the ring is loosely held";
    weak.remedy = "add shots with texture in the empty sectors of the ring";
  } else {
    weak.what = pair + ": the radial curve near the rim is loosely held";
    weak.remedy = "add shots with texture over the whole width of the overlap";
  }
  return weak;
}

}  // namespace

std::vector<WeakDirection> weak_directions(const Rig& rig, const SharedTerms& terms,
                                           const Eigen::MatrixXd& covariance, double threshold_px) {
  std::vector<WeakDirection> found;
  const Eigen::MatrixXd spread = symmetric_root(covariance).transpose();
  for (int a = 0; a < rig.lens_count(); ++a) {
    for (int b = a + 1; b < rig.lens_count(); ++b) {
      const auto directions = seam_directions(rig, a, b);
      if (directions.empty()) continue;
      // Singular values of (seam by terms) · √Σ are the RMS seam effect of independent 1σ moves.
      const Eigen::MatrixXd effect = seam_jacobian(rig, terms, a, b, directions) * spread /
                                     std::sqrt(static_cast<double>(directions.size()));
      // They are found as eigenvalues of its square, the smallest first: only large ones count, and
      // an SVD of this size would take a minute to compile.
      const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> square(effect.transpose() * effect);
      for (Eigen::Index k = square.eigenvalues().size() - 1; k >= 0; --k) {
        const double size_px = std::sqrt(std::max(0.0, square.eigenvalues()[k]));
        if (size_px < threshold_px) break;
        found.push_back(
            in_words(pattern_of(effect * square.eigenvectors().col(k), directions), size_px, a, b));
      }
    }
  }
  std::sort(found.begin(), found.end(),
            [](const WeakDirection& x, const WeakDirection& y) { return x.seam_px > y.seam_px; });
  return found;
}

}  // namespace seamwright
