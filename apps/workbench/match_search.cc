#include "apps/workbench/match_search.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "features/disparity.h"
#include "features/refine.h"

namespace seamwright::workbench {

namespace {

constexpr double kSearchSigma_px = 1.0;  // of a place that could not be refined
constexpr double kLeastSigma_px = 0.1;
constexpr int kPeakReach_px = 3;  // farther off, another maximum is another place

bool seen(const Strip& strip, int x, int y) {
  return strip.valid.row<std::uint8_t>(y)[static_cast<std::size_t>(x)] != 0;
}

float value(const Strip& strip, int x, int y) {
  return strip.normalised.row<float>(y)[static_cast<std::size_t>(x)];
}

}  // namespace

MatchSearch::MatchSearch(const SearchedPair& pair, const RibbonGrid& grid, const Rig& rig,
                         const MatchOptions& options)
    : a_(pair.a),
      b_(pair.b),
      grid_(grid),
      options_(options),
      sideways_px_(static_cast<int>(std::ceil(options.slack_rad * grid.px_per_rad))),
      parallax_most_px_(
          static_cast<int>(std::ceil((DisparityRange(rig, pair.lens_a, pair.lens_b,
                                                     options.nearest_m, options.nearest_baselines)
                                          .widest() +
                                      options.slack_rad) *
                                     grid.px_per_rad))),
      pad_px_(sideways_px_ + options.window),
      strip_a_(render_strip(pair.a, padded(grid, pad_px_))),
      strip_b_(render_strip(pair.b, padded(grid, pad_px_))) {}

double MatchSearch::correlation(int x, int y, int dx, int dy, bool from_a) const {
  const Strip& here = from_a ? strip_a_ : strip_b_;
  const Strip& there = from_a ? strip_b_ : strip_a_;
  const int half = options_.window / 2;
  double sum_p = 0;
  double sum_q = 0;
  double sum_pp = 0;
  double sum_qq = 0;
  double sum_pq = 0;
  int count = 0;
  for (int v = -half; v <= half; ++v) {
    const int row = y + v;
    if (row < 0 || row >= grid_.height_px || row + dy < 0 || row + dy >= grid_.height_px) continue;
    for (int u = -half; u <= half; ++u) {
      if (!seen(here, x + u, row) || !seen(there, x + u + dx, row + dy)) continue;
      const double p = static_cast<double>(value(here, x + u, row));
      const double q = static_cast<double>(value(there, x + u + dx, row + dy));
      sum_p += p;
      sum_q += q;
      sum_pp += p * p;
      sum_qq += q * q;
      sum_pq += p * q;
      ++count;
    }
  }
  if (2 * count < options_.window * options_.window) return -1;
  const double spread = (sum_pp - sum_p * sum_p / count) * (sum_qq - sum_q * sum_q / count);
  return spread > 1e-9 ? (sum_pq - sum_p * sum_q / count) / std::sqrt(spread) : -1;
}

std::optional<MatchSearch::Peak> MatchSearch::search(int x, int y, bool from_a) const {
  // η_a − η_b ≥ 0 for whatever has a depth: lens b shows it further up.
  const int low = from_a ? -parallax_most_px_ : -sideways_px_;
  const int high = from_a ? sideways_px_ : parallax_most_px_;
  std::vector<Peak> places;
  Peak best;
  for (int dy = low; dy <= high; ++dy) {
    for (int dx = -sideways_px_; dx <= sideways_px_; ++dx) {
      const Peak place{dx, dy, correlation(x, y, dx, dy, from_a), false};
      places.push_back(place);
      if (place.ncc > best.ncc) best = place;
    }
  }
  if (best.ncc < options_.least_ncc) return std::nullopt;
  best.unsure = std::any_of(places.begin(), places.end(), [&](const Peak& other) {
    return other.ncc > options_.rival_share * best.ncc &&
           std::max(std::abs(other.dx - best.dx), std::abs(other.dy - best.dy)) > kPeakReach_px;
  });
  return best;
}

std::optional<FoundMatch> MatchSearch::find(const Vec2& click, bool from_a) const {
  const bool inside =
      click.y() >= 0 && click.y() < grid_.height_px && click.x() >= 0 && click.x() < grid_.width_px;
  if (!inside) return std::nullopt;
  const int x = static_cast<int>(click.x()) + pad_px_;
  const int y = static_cast<int>(click.y());
  if (!seen(from_a ? strip_a_ : strip_b_, x, y)) return std::nullopt;
  const auto peak = search(x, y, from_a);
  if (!peak) return std::nullopt;
  const Vec2 other = click + Vec2(peak->dx, peak->dy);
  const auto in_a = ribbon_place(grid_, a_.mounted, from_a ? click : other);
  const auto in_b = ribbon_place(grid_, b_.mounted, from_a ? other : click);
  if (!in_a || !in_b) return std::nullopt;
  FoundMatch found{.match = {.a = *in_a, .b = *in_b, .ncc = peak->ncc},
                   .sigma_px = kSearchSigma_px,
                   .refined = false,
                   .unsure = peak->unsure};
  const PairRefiner refiner(a_, b_, grid_);
  const auto refined = refiner.refine(in_a->at, in_b->at);
  if (!refined) return found;
  found.match = *refined;
  found.refined = true;
  // The covariance is of the difference; each end has half of it, in its least sure direction.
  const Mat2& c = refined->covariance_px2;
  const double mean = 0.5 * c.trace();
  const double most = mean + std::sqrt(std::max(0.0, mean * mean - c.determinant()));
  found.sigma_px = std::max(kLeastSigma_px, std::sqrt(most / 2));
  return found;
}

}  // namespace seamwright::workbench
