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
    std::vector<PairMatch> matches = matched(strip_a, strip_b);
    matches = agreed(std::move(matches), options_.consensus.least_reject_rad);
    found_.report.consistent = static_cast<int>(matches.size());
    if (options_.refined) {
      const auto by_response = [](const PairMatch& match) { return match.response; };
      matches = refined(spread(matches, kRefinedPerKept * options_.max_ties_per_pair, by_response));
      matches = agreed(std::move(matches), kRefinedReject_rad);
      found_.report.refined = static_cast<int>(matches.size());
      if (options_.edge_ties) add_edges(strip_a, strip_b, matches);
    }
    // Sure in every direction first; edges, which are not, where nothing else is.
    keep(spread(matches, options_.max_ties_per_pair, [](const PairMatch& match) {
      return std::max(match.ncc, 0.01) / match.covariance_px2.trace();
    }));
    return std::move(found_);
  }

 private:
  [[nodiscard]] int pad() const { return grid_.closed ? kPad_px : 0; }

  std::vector<PairMatch> matched(const Strip& strip_a, const Strip& strip_b) {
    const std::vector<StripKey> keys_a = find_keys(strip_a, pad());
    const std::vector<StripKey> keys_b = find_keys(strip_b, pad());
    found_.report.detected[0] = static_cast<int>(keys_a.size());
    found_.report.detected[1] = static_cast<int>(keys_b.size());
    const MatchGate gate{.sideways_rad = options_.sideways_gate_rad,
                         .parallax_slack_rad = options_.parallax_slack_rad,
                         .max_ratio = options_.max_ratio};
    const std::vector<KeyPair> pairs = match_keys(keys_a, keys_b, grid_, range_, gate);
    found_.report.matched = static_cast<int>(pairs.size());
    std::vector<PairMatch> matches;
    for (const KeyPair& pair : pairs) {
      const StripKey& a = keys_a[static_cast<std::size_t>(pair.a)];
      const StripKey& b = keys_b[static_cast<std::size_t>(pair.b)];
      auto match = rough_match(a.at, b.at);
      if (!match) continue;
      match->response = std::min(a.response, b.response);
      matches.push_back(*match);
    }
    return matches;
  }

  // Of a key point or an edge that was not refined.
  [[nodiscard]] std::optional<PairMatch> rough_match(const Vec2& at_a, const Vec2& at_b) const {
    const auto a = ribbon_place(grid_, a_.mounted, at_a);
    const auto b = ribbon_place(grid_, b_.mounted, at_b);
    if (!a || !b) return std::nullopt;
    return PairMatch{
        .a = *a, .b = *b, .covariance_px2 = Mat2::Identity() * 2 * kKeySigma_px * kKeySigma_px};
  }

  // Those that the consensus accepts.
  std::vector<PairMatch> agreed(std::vector<PairMatch> matches, double least_reject_rad) {
    ConsensusOptions options = options_.consensus;
    options.nearest_m = options_.nearest_m;
    options.nearest_baselines = options_.nearest_baselines;
    options.parallax_slack_rad = std::min(options_.parallax_slack_rad, options.parallax_slack_rad);
    options.least_reject_rad = least_reject_rad;
    options.largest_rotation_rad =
        std::min(options.largest_rotation_rad, 2 * options_.sideways_gate_rad);
    options.largest_focal_change =
        std::min(options.largest_focal_change, options_.parallax_slack_rad / 2);
    ConsensusResult result = consensus_of_pair(matches, rig_, lens_a_, lens_b_, options);
    std::vector<PairMatch> accepted;
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

  [[nodiscard]] std::vector<PairMatch> refined(const std::vector<PairMatch>& matches) const {
    const PairRefiner refiner(a_, b_, grid_, refine_options());
    std::vector<std::optional<PairMatch>> results(matches.size());
    parallel_for(0, static_cast<int>(matches.size()), [&](int i) {
      const auto index = static_cast<std::size_t>(i);
      results[index] = refiner.refine(matches[index].a.at, matches[index].b.at);
    });
    std::vector<PairMatch> refined;
    for (std::size_t i = 0; i < matches.size(); ++i) {
      if (!results[i]) continue;
      results[i]->response = matches[i].response;
      results[i]->edge = matches[i].edge;
      refined.push_back(*results[i]);
    }
    return refined;
  }

  void add_edges(const Strip& strip_a, const Strip& strip_b, std::vector<PairMatch>& matches) {
    const EdgeSearchOptions options{.pad_px = pad(),
                                    .sideways_rad = options_.sideways_gate_rad,
                                    .parallax_slack_rad = options_.parallax_slack_rad};
    std::vector<PairMatch> edges;
    for (const EdgePair& pair : search_edges(strip_a, strip_b, grid_, range_, matches, options)) {
      auto edge = rough_match(pair.at_a, pair.at_b);
      if (!edge) continue;
      edge->edge = true;
      edges.push_back(*edge);
    }
    for (const PairMatch& edge : refined(edges)) {
      if (!fits_consensus(edge)) continue;
      matches.push_back(edge);
      ++found_.report.edges;
    }
  }

  // The consensus of the corners explains the edge's sideways part, within what both claim.
  [[nodiscard]] bool fits_consensus(const PairMatch& edge) const {
    const Rig better = corrected(rig_, lens_a_, lens_b_, found_.report.consensus);
    const auto in_a = better.lenses[static_cast<std::size_t>(lens_a_)].direction_in_rig(edge.a.px);
    const auto in_b = better.lenses[static_cast<std::size_t>(lens_b_)].direction_in_rig(edge.b.px);
    if (!in_a || !in_b) return false;
    const RibbonAngles a = grid_.axes.angles(*in_a);
    const RibbonAngles b = grid_.axes.angles(*in_b);
    const double sideways = std::remainder(b.psi_rad - a.psi_rad, 2 * kPi) * std::sin(a.eta_rad);
    const double own = std::sqrt(edge.covariance_px2(0, 0)) / grid_.px_per_rad;
    return std::abs(sideways) <= kRefinedReject_rad + kEdgeSigmas * own;
  }

  // Both sights in frame pixels; the covariance of the difference is shared evenly.
  [[nodiscard]] Tie tie_of(const PairMatch& match) const {
    const auto sight = [&](int lens, const RibbonPlace& at) {
      const Mat2 covariance = at.px_by_at * (0.5 * match.covariance_px2) * at.px_by_at.transpose();
      return TieSight{lens, at.px, 0.5 * (covariance + covariance.transpose())};
    };
    Tie tie;
    tie.shot = shot_;
    tie.sights = {sight(lens_a_, match.a), sight(lens_b_, match.b)};
    return tie;
  }

  [[nodiscard]] TieDetail detail_of(const PairMatch& match) const {
    const Vec2 middle = 0.5 * (match.a.at + match.b.at);
    double dx = match.b.at.x() - match.a.at.x();
    if (grid_.closed) dx = std::remainder(dx, static_cast<double>(grid_.width_px));
    const double eta = grid_.eta_begin_rad + middle.y() / grid_.px_per_rad;
    return {.lens_a = lens_a_,
            .lens_b = lens_b_,
            .psi_rad = std::remainder(
                grid_.psi_begin_rad + (match.a.at.x() + 0.5 * dx) / grid_.px_per_rad, 2 * kPi),
            .eta_rad = eta,
            .sideways_rad = dx / grid_.px_per_rad * std::sin(eta),
            .parallax_rad = (match.a.at.y() - match.b.at.y()) / grid_.px_per_rad,
            .ncc = match.ncc,
            .edge = match.edge};
  }

  [[nodiscard]] int sector_of(const TieDetail& detail) const {
    const double turn = detail.psi_rad / (2 * kPi) + 0.5;
    return std::clamp(static_cast<int>(turn * options_.cells_psi), 0, options_.cells_psi - 1);
  }

  [[nodiscard]] int cell_of(const PairMatch& match) const {
    const TieDetail detail = detail_of(match);
    const double down = (detail.eta_rad - grid_.eta_begin_rad) * grid_.px_per_rad / grid_.height_px;
    const int row =
        std::clamp(static_cast<int>(down * options_.cells_eta), 0, options_.cells_eta - 1);
    return row * options_.cells_psi + sector_of(detail);
  }

  template <class Score>
  [[nodiscard]] std::vector<PairMatch> spread(const std::vector<PairMatch>& matches, int max_count,
                                              Score score) const {
    std::vector<SpreadItem> items;
    for (const PairMatch& match : matches) items.push_back({cell_of(match), score(match)});
    std::vector<PairMatch> kept;
    for (const int i : spread_evenly(items, max_count)) {
      kept.push_back(matches[static_cast<std::size_t>(i)]);
    }
    return kept;
  }

  void keep(const std::vector<PairMatch>& matches) {
    std::vector<char> used(static_cast<std::size_t>(options_.cells_psi), 0);
    for (const PairMatch& match : matches) {
      found_.ties.push_back(tie_of(match));
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
