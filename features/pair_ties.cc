#include "features/pair_ties.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "base/parallel.h"
#include "features/even_spread.h"
#include "features/strip.h"
#include "features/strip_keys.h"
#include "features/strip_matcher.h"

namespace seamwright {

namespace {

constexpr int kPad_px = 64;
constexpr int kLeastWidth_px = 64;
constexpr int kLeastHeight_px = 24;
constexpr double kLeastSinEta = 0.35;  // nearer to the pole the ribbon is stretched too far
constexpr double kKeySigma_px = 0.5;   // of a key point that was not refined
constexpr double kRefinedReject_rad = rad_from_deg(0.06);

// px per radian along the radius where the overlap is.
double radial_px_per_rad(const Lens& lens) {
  return lens.terms[kFocal] * lens.radius_slope(std::min(lens.theta_max_rad, kPi / 2));
}

// Positions of one tie on the ribbon and how sure their difference is, ribbon px.
struct RibbonMatch {
  Vec2 at_a = Vec2::Zero();
  Vec2 at_b = Vec2::Zero();
  Mat2 covariance_px2 = Mat2::Identity() * 2 * kKeySigma_px * kKeySigma_px;
  double ncc = 0;
  bool edge = false;
};

class PairFinder {
 public:
  PairFinder(const LensView& a, const LensView& b, const Rig& rig, int lens_a, int lens_b,
             const RibbonGrid& grid, int shot, const TieOptions& options)
      : a_(a),
        b_(b),
        rig_(rig),
        lens_a_(lens_a),
        lens_b_(lens_b),
        grid_(grid),
        shot_(shot),
        options_(options),
        range_(rig, lens_a, lens_b, options.nearest_m, options.nearest_baselines) {
    found_.report.lens_a = lens_a;
    found_.report.lens_b = lens_b;
  }

  PairTies run() {
    std::vector<RibbonMatch> matches = matched();
    found_.report.matched = static_cast<int>(matches.size());
    matches = agreed(std::move(matches), options_.consensus.least_reject_rad);
    found_.report.consistent = static_cast<int>(matches.size());
    if (options_.refined) {
      matches = refined(matches);
      matches = agreed(std::move(matches), kRefinedReject_rad);
      found_.report.refined = static_cast<int>(matches.size());
    }
    keep(spread(std::move(matches)));
    return std::move(found_);
  }

 private:
  [[nodiscard]] int pad() const { return grid_.closed ? kPad_px : 0; }

  std::vector<RibbonMatch> matched() {
    const RibbonGrid wide = padded(grid_, pad());
    const std::vector<StripKey> keys_a = find_keys(render_strip(a_, wide), pad());
    const std::vector<StripKey> keys_b = find_keys(render_strip(b_, wide), pad());
    found_.report.detected[0] = static_cast<int>(keys_a.size());
    found_.report.detected[1] = static_cast<int>(keys_b.size());
    const MatchGate gate{.across_rad = options_.across_gate_rad,
                         .along_slack_rad = options_.along_slack_rad,
                         .max_ratio = options_.max_ratio};
    std::vector<RibbonMatch> matches;
    for (const KeyMatch& match : match_keys(keys_a, keys_b, grid_, range_, gate)) {
      matches.push_back({.at_a = keys_a[static_cast<std::size_t>(match.key_a)].at,
                         .at_b = keys_b[static_cast<std::size_t>(match.key_b)].at});
    }
    return matches;
  }

  // Those that the consensus accepts.
  std::vector<RibbonMatch> agreed(std::vector<RibbonMatch> matches, double least_reject_rad) {
    std::vector<Tie> ties;
    for (const RibbonMatch& match : matches) {
      if (auto tie = tie_of(match)) {
        ties.push_back(std::move(*tie));
      } else {
        ties.emplace_back();  // no sights: never an inlier
      }
    }
    ConsensusOptions options = options_.consensus;
    options.nearest_m = options_.nearest_m;
    options.nearest_baselines = options_.nearest_baselines;
    options.along_slack_rad = std::min(options_.along_slack_rad, options.along_slack_rad);
    options.least_reject_rad = least_reject_rad;
    options.largest_rotation_rad =
        std::min(options.largest_rotation_rad, 2 * options_.across_gate_rad);
    options.largest_focal_change =
        std::min(options.largest_focal_change, options_.along_slack_rad / 2);
    ConsensusResult result = consensus_of_pair(ties, rig_, lens_a_, lens_b_, options);
    std::vector<RibbonMatch> accepted;
    for (std::size_t i = 0; i < matches.size(); ++i) {
      if (result.inlier[i]) accepted.push_back(matches[i]);
    }
    result.inlier.clear();
    found_.report.consensus = std::move(result);
    return accepted;
  }

  [[nodiscard]] std::vector<RibbonMatch> refined(const std::vector<RibbonMatch>& matches) const {
    const PairRefiner refiner(a_, b_, grid_, options_.refine);
    std::vector<std::optional<RefinedMatch>> results(matches.size());
    parallel_for(0, static_cast<int>(matches.size()), [&](int i) {
      const auto index = static_cast<std::size_t>(i);
      results[index] = refiner.refine(matches[index].at_a, matches[index].at_b);
    });
    std::vector<RibbonMatch> refined;
    for (const auto& result : results) {
      if (!result) continue;
      refined.push_back({.at_a = result->at_a,
                         .at_b = result->at_b,
                         .covariance_px2 = result->covariance_px2,
                         .ncc = result->ncc});
    }
    return refined;
  }

  // Both sights in frame pixels; the covariance of the difference is shared evenly.
  [[nodiscard]] std::optional<Tie> tie_of(const RibbonMatch& match) const {
    const auto in_a = frame_position(grid_, a_.mounted, match.at_a);
    const auto in_b = frame_position(grid_, b_.mounted, match.at_b);
    if (!in_a || !in_b) return std::nullopt;
    const auto sight = [&](int lens, const FramePosition& at) {
      const Mat2 covariance = at.jacobian * (0.5 * match.covariance_px2) * at.jacobian.transpose();
      return TieSight{lens, at.px, 0.5 * (covariance + covariance.transpose())};
    };
    Tie tie;
    tie.shot = shot_;
    tie.sights = {sight(lens_a_, *in_a), sight(lens_b_, *in_b)};
    return tie;
  }

  [[nodiscard]] TieDetail detail_of(const RibbonMatch& match) const {
    const Vec2 middle = 0.5 * (match.at_a + match.at_b);
    double dx = match.at_b.x() - match.at_a.x();
    if (grid_.closed) dx = std::remainder(dx, static_cast<double>(grid_.width_px));
    const double eta = grid_.eta_begin_rad + middle.y() / grid_.px_per_rad;
    return {.lens_a = lens_a_,
            .lens_b = lens_b_,
            .psi_rad = std::remainder(
                grid_.psi_begin_rad + (match.at_a.x() + 0.5 * dx) / grid_.px_per_rad, 2 * kPi),
            .eta_rad = eta,
            .across_rad = dx / grid_.px_per_rad * std::sin(eta),
            .along_rad = (match.at_a.y() - match.at_b.y()) / grid_.px_per_rad,
            .ncc = match.ncc,
            .edge = match.edge};
  }

  [[nodiscard]] int sector_of(const TieDetail& detail) const {
    const double turn = detail.psi_rad / (2 * kPi) + 0.5;
    return std::clamp(static_cast<int>(turn * options_.cells_psi), 0, options_.cells_psi - 1);
  }

  [[nodiscard]] std::vector<RibbonMatch> spread(std::vector<RibbonMatch> matches) const {
    std::vector<SpreadItem> items;
    const double eta_span = grid_.height_px / grid_.px_per_rad;
    for (const RibbonMatch& match : matches) {
      const TieDetail detail = detail_of(match);
      const double down = (detail.eta_rad - grid_.eta_begin_rad) / eta_span;
      const int row =
          std::clamp(static_cast<int>(down * options_.cells_eta), 0, options_.cells_eta - 1);
      items.push_back({.cell = row * options_.cells_psi + sector_of(detail),
                       .score = std::max(match.ncc, 0.01) / match.covariance_px2.trace()});
    }
    std::vector<RibbonMatch> kept;
    for (const int i : spread_evenly(items, options_.max_ties_per_pair)) {
      kept.push_back(matches[static_cast<std::size_t>(i)]);
    }
    return kept;
  }

  void keep(const std::vector<RibbonMatch>& matches) {
    std::vector<char> used(static_cast<std::size_t>(options_.cells_psi), 0);
    for (const RibbonMatch& match : matches) {
      auto tie = tie_of(match);
      if (!tie) continue;
      found_.ties.push_back(std::move(*tie));
      found_.details.push_back(detail_of(match));
      used[static_cast<std::size_t>(sector_of(found_.details.back()))] = 1;
    }
    found_.report.kept = static_cast<int>(found_.ties.size());
    for (int sector = 0; sector < options_.cells_psi; ++sector) {
      const double psi = -kPi + 2 * kPi * (sector + 0.5) / options_.cells_psi;
      if (used[static_cast<std::size_t>(sector)] == 0 && shared(psi)) {
        found_.report.empty_sectors_deg.push_back(deg_from_rad(psi));
      }
    }
  }

  // True where both lenses see something at an azimuth of the ribbon.
  [[nodiscard]] bool shared(double psi_rad) const {
    constexpr int kSteps = 16;
    for (int i = 0; i < kSteps; ++i) {
      const double eta =
          grid_.eta_begin_rad + grid_.height_px / grid_.px_per_rad * (i + 0.5) / kSteps;
      const Vec3 d = grid_.axes.direction({psi_rad, eta});
      const auto in_a = a_.mounted.project_direction(d);
      const auto in_b = b_.mounted.project_direction(d);
      if (in_a && in_b && a_.field.contains(*in_a) && b_.field.contains(*in_b)) return true;
    }
    return false;
  }

  const LensView& a_;
  const LensView& b_;
  const Rig& rig_;
  int lens_a_;
  int lens_b_;
  const RibbonGrid& grid_;
  int shot_;
  const TieOptions& options_;
  DisparityRange range_;
  PairTies found_;
};

}  // namespace

std::optional<RibbonGrid> matching_grid(const Rig& rig, int lens_a, int lens_b, double margin_rad) {
  const double px_per_rad =
      std::max(radial_px_per_rad(rig.lenses[static_cast<std::size_t>(lens_a)].lens),
               radial_px_per_rad(rig.lenses[static_cast<std::size_t>(lens_b)].lens));
  const auto overlap = overlap_of(rig, lens_a, lens_b, px_per_rad, margin_rad);
  if (!overlap) return std::nullopt;
  RibbonGrid grid = overlap->grid;
  const double pole_margin = std::asin(kLeastSinEta);
  const double eta_end =
      std::min(grid.eta_begin_rad + grid.height_px / grid.px_per_rad, kPi - pole_margin);
  grid.eta_begin_rad = std::max(grid.eta_begin_rad, pole_margin);
  grid.height_px = static_cast<int>(std::ceil((eta_end - grid.eta_begin_rad) * grid.px_per_rad));
  if (grid.width_px < kLeastWidth_px || grid.height_px < kLeastHeight_px) return std::nullopt;
  return grid;
}

PairTies find_pair_ties(const LensView& a, const LensView& b, const Rig& rig, int lens_a,
                        int lens_b, const RibbonGrid& grid, int shot, const TieOptions& options) {
  return PairFinder(a, b, rig, lens_a, lens_b, grid, shot, options).run();
}

}  // namespace seamwright
