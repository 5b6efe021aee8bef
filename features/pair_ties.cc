#include "features/pair_ties.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "base/parallel.h"
#include "features/edge_search.h"
#include "features/even_spread.h"
#include "features/strip_keys.h"
#include "features/strip_matcher.h"
#include "sampling/strip.h"

namespace seamwright {

namespace {

constexpr int kPad_px = 64;
constexpr double kKeySigma_px = 0.5;  // of a key point that was not refined
constexpr double kRefinedReject_rad = rad_from_deg(0.06);
constexpr int kRefinedPerKept = 2;  // matches that are refined for every tie that may be kept
constexpr int kLeastWindow = 11;    // of refinement, samples
constexpr double kEdgeSigmas = 3;   // an edge may lie this far off sideways

// Positions of one tie on the ribbon and how sure their difference is, ribbon px.
struct RibbonMatch {
  Vec2 at_a = Vec2::Zero();
  Vec2 at_b = Vec2::Zero();
  Mat2 covariance_px2 = Mat2::Identity() * 2 * kKeySigma_px * kKeySigma_px;
  double ncc = 0;
  double response = 0;  // of the weaker key point
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
    const RibbonGrid wide = padded(grid_, pad());
    const Strip strip_a = render_strip(a_, wide);
    const Strip strip_b = render_strip(b_, wide);
    std::vector<RibbonMatch> matches = matched(strip_a, strip_b);
    found_.report.matched = static_cast<int>(matches.size());
    matches = agreed(std::move(matches), options_.consensus.least_reject_rad);
    found_.report.consistent = static_cast<int>(matches.size());
    if (options_.refined) {
      const auto by_response = [](const RibbonMatch& match) { return match.response; };
      matches = refined(spread(matches, kRefinedPerKept * options_.max_ties_per_pair, by_response));
      matches = agreed(std::move(matches), kRefinedReject_rad);
      found_.report.refined = static_cast<int>(matches.size());
      if (options_.edge_ties) add_edges(strip_a, strip_b, matches);
    }
    // Sure in every direction first; edges, which are not, where nothing else is.
    keep(spread(matches, options_.max_ties_per_pair, [](const RibbonMatch& match) {
      return std::max(match.ncc, 0.01) / match.covariance_px2.trace();
    }));
    return std::move(found_);
  }

 private:
  [[nodiscard]] int pad() const { return grid_.closed ? kPad_px : 0; }

  std::vector<RibbonMatch> matched(const Strip& strip_a, const Strip& strip_b) {
    const std::vector<StripKey> keys_a = find_keys(strip_a, pad());
    const std::vector<StripKey> keys_b = find_keys(strip_b, pad());
    found_.report.detected[0] = static_cast<int>(keys_a.size());
    found_.report.detected[1] = static_cast<int>(keys_b.size());
    const MatchGate gate{.sideways_rad = options_.sideways_gate_rad,
                         .parallax_slack_rad = options_.parallax_slack_rad,
                         .max_ratio = options_.max_ratio};
    std::vector<RibbonMatch> matches;
    for (const KeyMatch& match : match_keys(keys_a, keys_b, grid_, range_, gate)) {
      const StripKey& a = keys_a[static_cast<std::size_t>(match.key_a)];
      const StripKey& b = keys_b[static_cast<std::size_t>(match.key_b)];
      RibbonMatch found{.at_a = a.at, .at_b = b.at};
      found.response = std::min(a.response, b.response);
      matches.push_back(found);
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
    options.parallax_slack_rad = std::min(options_.parallax_slack_rad, options.parallax_slack_rad);
    options.least_reject_rad = least_reject_rad;
    options.largest_rotation_rad =
        std::min(options.largest_rotation_rad, 2 * options_.sideways_gate_rad);
    options.largest_focal_change =
        std::min(options.largest_focal_change, options_.parallax_slack_rad / 2);
    ConsensusResult result = consensus_of_pair(ties, rig_, lens_a_, lens_b_, options);
    std::vector<RibbonMatch> accepted;
    for (std::size_t i = 0; i < matches.size(); ++i) {
      if (result.inlier[i]) accepted.push_back(matches[i]);
    }
    result.inlier.clear();
    found_.report.consensus = std::move(result);
    return accepted;
  }

  // Rows that both lenses see, at the middle one of all azimuths where they share any. The grid is
  // higher: it bounds an overlap that winds around the ring when a lens is tilted.
  [[nodiscard]] int overlap_height_px() const {
    std::vector<int> heights;
    for (int sector = 0; sector < options_.cells_psi; ++sector) {
      const double psi = -kPi + 2 * kPi * (sector + 0.5) / options_.cells_psi;
      int rows = 0;
      for (int row = 0; row < grid_.height_px; ++row) {
        rows += shared(psi, grid_.eta_begin_rad + (row + 0.5) / grid_.px_per_rad) ? 1 : 0;
      }
      if (rows > 0) heights.push_back(rows);
    }
    if (heights.empty()) return 0;
    const auto middle = heights.begin() + static_cast<std::ptrdiff_t>(heights.size() / 2);
    std::nth_element(heights.begin(), middle, heights.end());
    return *middle;
  }

  // A patch that does not lie in both fields is refused. Where the overlap is hardly higher than
  // the window, as between lenses that end just beyond 90 degrees and squeeze their rims, that
  // would be all of them: half the overlap is left for patches to lie in.
  [[nodiscard]] RefineOptions refine_options() const {
    RefineOptions options = options_.refine;
    const int fitting = (overlap_height_px() / 2 - 1) | 1;
    options.window = std::min(options.window, std::max(fitting, kLeastWindow));
    return options;
  }

  [[nodiscard]] std::vector<RibbonMatch> refined(const std::vector<RibbonMatch>& matches) const {
    const PairRefiner refiner(a_, b_, grid_, refine_options());
    std::vector<std::optional<RefinedMatch>> results(matches.size());
    parallel_for(0, static_cast<int>(matches.size()), [&](int i) {
      const auto index = static_cast<std::size_t>(i);
      results[index] = refiner.refine(matches[index].at_a, matches[index].at_b);
    });
    std::vector<RibbonMatch> refined;
    for (std::size_t i = 0; i < matches.size(); ++i) {
      if (!results[i]) continue;
      RibbonMatch better = matches[i];
      better.at_a = results[i]->at_a;
      better.at_b = results[i]->at_b;
      better.covariance_px2 = results[i]->covariance_px2;
      better.ncc = results[i]->ncc;
      refined.push_back(better);
    }
    return refined;
  }

  void add_edges(const Strip& strip_a, const Strip& strip_b, std::vector<RibbonMatch>& matches) {
    std::vector<RibbonPair> known;
    for (const RibbonMatch& match : matches) known.push_back({match.at_a, match.at_b});
    const EdgeSearchOptions options{.pad_px = pad(),
                                    .sideways_rad = options_.sideways_gate_rad,
                                    .parallax_slack_rad = options_.parallax_slack_rad};
    std::vector<RibbonMatch> edges;
    for (const RibbonPair& pair : search_edges(strip_a, strip_b, grid_, range_, known, options)) {
      RibbonMatch edge{.at_a = pair.at_a, .at_b = pair.at_b};
      edge.edge = true;
      edges.push_back(edge);
    }
    for (const RibbonMatch& edge : refined(edges)) {
      if (!fits_consensus(edge)) continue;
      matches.push_back(edge);
      ++found_.report.edges;
    }
  }

  // The consensus of the corners explains the edge's sideways part, within what both claim.
  [[nodiscard]] bool fits_consensus(const RibbonMatch& edge) const {
    const auto tie = tie_of(edge);
    if (!tie) return false;
    const Rig better = corrected(rig_, lens_a_, lens_b_, found_.report.consensus);
    const auto in_a =
        better.lenses[static_cast<std::size_t>(lens_a_)].direction_in_rig(tie->sights[0].px);
    const auto in_b =
        better.lenses[static_cast<std::size_t>(lens_b_)].direction_in_rig(tie->sights[1].px);
    if (!in_a || !in_b) return false;
    const RibbonAngles a = grid_.axes.angles(*in_a);
    const RibbonAngles b = grid_.axes.angles(*in_b);
    const double sideways = std::remainder(b.psi_rad - a.psi_rad, 2 * kPi) * std::sin(a.eta_rad);
    const double own = std::sqrt(edge.covariance_px2(0, 0)) / grid_.px_per_rad;
    return std::abs(sideways) <= kRefinedReject_rad + kEdgeSigmas * own;
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
            .sideways_rad = dx / grid_.px_per_rad * std::sin(eta),
            .parallax_rad = (match.at_a.y() - match.at_b.y()) / grid_.px_per_rad,
            .ncc = match.ncc,
            .edge = match.edge};
  }

  [[nodiscard]] int sector_of(const TieDetail& detail) const {
    const double turn = detail.psi_rad / (2 * kPi) + 0.5;
    return std::clamp(static_cast<int>(turn * options_.cells_psi), 0, options_.cells_psi - 1);
  }

  [[nodiscard]] int cell_of(const RibbonMatch& match) const {
    const TieDetail detail = detail_of(match);
    const double down = (detail.eta_rad - grid_.eta_begin_rad) * grid_.px_per_rad / grid_.height_px;
    const int row =
        std::clamp(static_cast<int>(down * options_.cells_eta), 0, options_.cells_eta - 1);
    return row * options_.cells_psi + sector_of(detail);
  }

  template <class Score>
  [[nodiscard]] std::vector<RibbonMatch> spread(const std::vector<RibbonMatch>& matches,
                                                int max_count, Score score) const {
    std::vector<SpreadItem> items;
    for (const RibbonMatch& match : matches) items.push_back({cell_of(match), score(match)});
    std::vector<RibbonMatch> kept;
    for (const int i : spread_evenly(items, max_count)) {
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
      if (shared(psi_rad, eta)) return true;
    }
    return false;
  }

  [[nodiscard]] bool shared(double psi_rad, double eta_rad) const {
    const Vec3 d = grid_.axes.direction({psi_rad, eta_rad});
    const auto in_a = a_.mounted.project_direction(d);
    const auto in_b = b_.mounted.project_direction(d);
    return in_a && in_b && a_.field.contains(*in_a) && b_.field.contains(*in_b);
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

PairTies find_pair_ties(const LensView& a, const LensView& b, const Rig& rig, int lens_a,
                        int lens_b, const RibbonGrid& grid, int shot, const TieOptions& options) {
  return PairFinder(a, b, rig, lens_a, lens_b, grid, shot, options).run();
}

}  // namespace seamwright
