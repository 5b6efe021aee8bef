#include "features/refine.h"

#include <algorithm>
#include <cmath>

#include <Eigen/Eigenvalues>

#include "features/patch_aligner.h"
#include "features/strip.h"

namespace seamwright {

struct PairRefiner::State {
  const LensView& a;
  const LensView& b;
  RibbonGrid grid;
  RefineOptions options;
};

PairRefiner::PairRefiner(const LensView& a, const LensView& b, const RibbonGrid& grid,
                         const RefineOptions& options)
    : state_(new State{a, b, grid, options}) {}
PairRefiner::PairRefiner(PairRefiner&&) noexcept = default;
PairRefiner& PairRefiner::operator=(PairRefiner&&) noexcept = default;
PairRefiner::~PairRefiner() = default;

std::optional<RefinedMatch> PairRefiner::refine(const Vec2& at_a, const Vec2& at_b) const {
  const auto& [a, b, grid, options] = *state_;
  const auto in_a = frame_position(grid, a.mounted, at_a);
  const auto in_b = frame_position(grid, b.mounted, at_b);
  if (!in_a || !in_b) return std::nullopt;
  // Samples about one frame pixel apart along each ribbon axis.
  const Vec2 step = 2.0 * (in_a->jacobian.colwise().norm() + in_b->jacobian.colwise().norm())
                              .cwiseInverse()
                              .transpose();
  const double reach = options.window / 2 + 0.5 * options.max_drift_px + 1;
  const auto map_a = PatchMap::around(a, grid, at_a, step, reach);
  const auto map_b = PatchMap::around(b, grid, at_b, step, reach);
  if (!map_a || !map_b) return std::nullopt;

  const auto aligned = PatchAligner(a, *map_a, b, *map_b, options).align();
  if (!aligned || aligned->ncc < options.min_ncc) return std::nullopt;
  const double best =
      Eigen::SelfAdjointEigenSolver<Mat2>(aligned->covariance, Eigen::EigenvaluesOnly)
          .eigenvalues()
          .minCoeff();
  if (!(best <= options.max_sigma_px * options.max_sigma_px)) return std::nullopt;

  const Vec2 half = 0.5 * step.cwiseProduct(aligned->shift);
  const Mat2 claimed =
      aligned->covariance + options.sigma_floor_px * options.sigma_floor_px * Mat2::Identity();
  return RefinedMatch{.at_a = at_a - half,
                      .at_b = at_b + half,
                      .covariance_px2 = step.asDiagonal() * claimed * step.asDiagonal(),
                      .ncc = aligned->ncc,
                      .noise = aligned->noise};
}

}  // namespace seamwright
