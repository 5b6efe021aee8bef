#include "features/refine.h"

#include <algorithm>
#include <cmath>

#include <Eigen/LU>
#include <fmt/format.h>

#include "base/out_of_range.h"
#include "base/user_error.h"
#include "features/patch_aligner.h"
#include "projection/dense_algebra.h"
#include "sampling/strip.h"

namespace seamwright {

namespace {

constexpr double kMostInnerGap = 9;  // χ² (2 degrees) between a patch and its middle: 1 % by chance

}  // namespace

std::optional<Error> RefineOptions::validate() const {
  if (window % 2 == 0) return option_error("window", fmt::format("{} is even", window), "11 to 41");
  if (auto error = out_of_range("window", window, 11, 41)) return error;
  if (auto error = out_of_range("min_ncc", min_ncc, -1, 1)) return error;
  if (auto error = out_of_range("max_drift_px", max_drift_px, 0, 100)) return error;
  if (auto error = out_of_range("sigma_floor_px", sigma_floor_px, 0, 10)) return error;
  if (auto error = out_of_range("sigma_cap_px", sigma_cap_px, 0.1, 1000)) return error;
  if (auto error = out_of_range("max_sigma_px", max_sigma_px, 0.001, 1000)) return error;
  return out_of_range("max_iterations", max_iterations, 1, 1000);
}

struct PairRefiner::State {
  const LensView& a;
  const LensView& b;
  RibbonGrid grid;
  RefineOptions options;

  [[nodiscard]] std::optional<PairMatch> refine_at(int level, const Vec2& at_a,
                                                   const Vec2& at_b) const;
  [[nodiscard]] bool one_depth(const PairMatch& match) const;
};

std::optional<PairMatch> PairRefiner::State::refine_at(int level, const Vec2& at_a,
                                                       const Vec2& at_b) const {
  const auto in_a = ribbon_place(grid, a.mounted, at_a);
  const auto in_b = ribbon_place(grid, b.mounted, at_b);
  if (!in_a || !in_b) return std::nullopt;
  const SplinePlane& plane_a = a.levels[static_cast<std::size_t>(level)];
  const SplinePlane& plane_b = b.levels[static_cast<std::size_t>(level)];
  // Samples about one pixel of the level apart along each ribbon axis.
  const Vec2 step = 2.0 * plane_a.step() *
                    (in_a->px_by_at.colwise().norm() + in_b->px_by_at.colwise().norm())
                        .cwiseInverse()
                        .transpose();
  const int half_window = options.window / 2;
  const double reach = half_window + 0.5 * options.max_drift_px / plane_a.step() + 1;
  const auto map_a = PatchMap::around(a, level, grid, at_a, step, reach);
  const auto map_b = PatchMap::around(b, level, grid, at_b, step, reach);
  if (!map_a || !map_b) return std::nullopt;
  const auto aligned = PatchAligner(plane_a, *map_a, plane_b, *map_b, options).align();
  if (!aligned) return std::nullopt;

  const double px = plane_a.step();  // frame pixels a sample
  const Mat2 claimed =
      aligned->covariance + std::pow(options.sigma_floor_px / px, 2) * Mat2::Identity();
  const double best = eigenvalues_of_symmetric2(claimed).minCoeff();
  if (!(best <= std::pow(options.max_sigma_px / px, 2))) return std::nullopt;
  const Vec2 half = 0.5 * step.cwiseProduct(aligned->shift);
  const auto end_a = ribbon_place(grid, a.mounted, at_a - half);
  const auto end_b = ribbon_place(grid, b.mounted, at_b + half);
  if (!end_a || !end_b) return std::nullopt;
  return PairMatch{.a = *end_a,
                   .b = *end_b,
                   .covariance_px2 = step.asDiagonal() * claimed * step.asDiagonal(),
                   .ncc = aligned->ncc,
                   .noise = aligned->noise,
                   .level = level};
}

// True where the middle of the patch moves as the whole does. Across a depth edge it does not.
bool PairRefiner::State::one_depth(const PairMatch& match) const {
  State inner{a, b, grid, options};
  inner.options.window = options.window / 2 | 1;
  const auto check = inner.refine_at(match.level, match.a.at, match.b.at);
  if (!check) return false;
  const Vec2 gap = (check->b.at - check->a.at) - (match.b.at - match.a.at);
  return gap.dot(check->covariance_px2.inverse() * gap) <= kMostInnerGap;
}

PairRefiner::PairRefiner(const LensView& a, const LensView& b, const RibbonGrid& grid,
                         const RefineOptions& options)
    : state_(new State{a, b, grid, options}) {}
PairRefiner::PairRefiner(PairRefiner&&) noexcept = default;
PairRefiner& PairRefiner::operator=(PairRefiner&&) noexcept = default;
PairRefiner::~PairRefiner() = default;

std::optional<PairMatch> PairRefiner::refine(const Vec2& at_a, const Vec2& at_b) const {
  const int levels = static_cast<int>(std::min(state_->a.levels.size(), state_->b.levels.size()));
  std::optional<PairMatch> best;
  Vec2 from_a = at_a;
  Vec2 from_b = at_b;
  for (int level = levels - 1; level >= 0; --level) {
    auto found = state_->refine_at(level, from_a, from_b);
    if (!found) continue;
    from_a = found->a.at;
    from_b = found->b.at;
    if (!best || found->covariance_px2.trace() < best->covariance_px2.trace()) best = found;
  }
  if (!best || best->ncc < state_->options.min_ncc || !state_->one_depth(*best)) {
    return std::nullopt;
  }
  return best;
}

}  // namespace seamwright
