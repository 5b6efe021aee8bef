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

// What a pair is matched with; the same for all steps.
struct PairScene {
  const MatchedPair& pair;
  const Rig& rig;
  const TieOptions& options;
  DisparityRange range;

  [[nodiscard]] int pad_px() const { return pair.grid.closed ? kPad_px : 0; }
};

bool shared(const PairScene& scene, double psi_rad, double eta_rad) {
  const Vec3 d = scene.pair.grid.axes.direction({psi_rad, eta_rad});
  const auto in_a = scene.pair.a.mounted.project_direction(d);
  const auto in_b = scene.pair.b.mounted.project_direction(d);
  return in_a && in_b && scene.pair.a.field.contains(*in_a) && scene.pair.b.field.contains(*in_b);
}

// True where both lenses see something at an azimuth of the ribbon.
bool shared(const PairScene& scene, double psi_rad) {
  constexpr int kSteps = 16;
  for (int i = 0; i < kSteps; ++i) {
    const double eta = scene.pair.grid.eta_begin_rad +
                       scene.pair.grid.height_px / scene.pair.grid.px_per_rad * (i + 0.5) / kSteps;
    if (shared(scene, psi_rad, eta)) return true;
  }
  return false;
}

// Of a key point or an edge that was not refined.
std::optional<PairMatch> rough_match(const PairScene& scene, const Vec2& at_a, const Vec2& at_b) {
  const auto a = ribbon_place(scene.pair.grid, scene.pair.a.mounted, at_a);
  const auto b = ribbon_place(scene.pair.grid, scene.pair.b.mounted, at_b);
  if (!a || !b) return std::nullopt;
  return PairMatch{
      .a = *a, .b = *b, .covariance_px2 = Mat2::Identity() * 2 * kKeySigma_px * kKeySigma_px};
}

std::vector<PairMatch> matched(const PairScene& scene, const Strip& strip_a, const Strip& strip_b,
                               PairTieReport& report) {
  const std::vector<StripKey> keys_a = find_keys(strip_a, scene.pad_px());
  const std::vector<StripKey> keys_b = find_keys(strip_b, scene.pad_px());
  report.detected[0] = static_cast<int>(keys_a.size());
  report.detected[1] = static_cast<int>(keys_b.size());
  const MatchGate gate{.sideways_rad = scene.options.sideways_gate_rad,
                       .parallax_slack_rad = scene.options.parallax_slack_rad,
                       .max_ratio = scene.options.max_ratio};
  const std::vector<KeyPair> pairs = match_keys(keys_a, keys_b, scene.pair.grid, scene.range, gate);
  report.matched = static_cast<int>(pairs.size());
  std::vector<PairMatch> matches;
  for (const KeyPair& keys : pairs) {
    const StripKey& a = keys_a[static_cast<std::size_t>(keys.a)];
    const StripKey& b = keys_b[static_cast<std::size_t>(keys.b)];
    auto match = rough_match(scene, a.at, b.at);
    if (!match) continue;
    match->response = std::min(a.response, b.response);
    matches.push_back(*match);
  }
  return matches;
}

// Those that the consensus accepts.
std::vector<PairMatch> agreed(const PairScene& scene, const std::vector<PairMatch>& matches,
                              double least_reject_rad, ConsensusResult& consensus) {
  ConsensusOptions options = scene.options.consensus;
  options.nearest_m = scene.options.nearest_m;
  options.nearest_baselines = scene.options.nearest_baselines;
  options.parallax_slack_rad =
      std::min(scene.options.parallax_slack_rad, options.parallax_slack_rad);
  options.least_reject_rad = least_reject_rad;
  options.largest_rotation_rad =
      std::min(options.largest_rotation_rad, 2 * scene.options.sideways_gate_rad);
  options.largest_focal_change =
      std::min(options.largest_focal_change, scene.options.parallax_slack_rad / 2);
  ConsensusResult result =
      consensus_of_pair(matches, scene.rig, scene.pair.lens_a, scene.pair.lens_b, options);
  std::vector<PairMatch> accepted;
  for (std::size_t i = 0; i < matches.size(); ++i) {
    if (result.inlier[i]) accepted.push_back(matches[i]);
  }
  result.inlier.clear();
  consensus = std::move(result);
  return accepted;
}

// Rows that both lenses see, at the middle one of all azimuths where they share any. The grid is
// higher: it bounds an overlap that winds around the ring when a lens is tilted.
int overlap_height_px(const PairScene& scene) {
  std::vector<int> heights;
  for (int sector = 0; sector < scene.options.cells_psi; ++sector) {
    const double psi = -kPi + 2 * kPi * (sector + 0.5) / scene.options.cells_psi;
    int rows = 0;
    for (int row = 0; row < scene.pair.grid.height_px; ++row) {
      rows += shared(scene, psi,
                     scene.pair.grid.eta_begin_rad + (row + 0.5) / scene.pair.grid.px_per_rad)
                  ? 1
                  : 0;
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
RefineOptions refine_options(const PairScene& scene) {
  RefineOptions options = scene.options.refine;
  const int fitting = (overlap_height_px(scene) / 2 - 1) | 1;
  options.window = std::min(options.window, std::max(fitting, kLeastWindow));
  return options;
}

std::vector<PairMatch> refined(const PairScene& scene, const std::vector<PairMatch>& matches) {
  const PairRefiner refiner(scene.pair.a, scene.pair.b, scene.pair.grid, refine_options(scene));
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

// The consensus of the corners explains the edge's sideways part, within what both claim.
bool fits_consensus(const PairScene& scene, const ConsensusResult& consensus,
                    const PairMatch& edge) {
  const Rig better = corrected(scene.rig, scene.pair.lens_a, scene.pair.lens_b, consensus);
  const auto in_a =
      better.lenses[static_cast<std::size_t>(scene.pair.lens_a)].direction_in_rig(edge.a.px);
  const auto in_b =
      better.lenses[static_cast<std::size_t>(scene.pair.lens_b)].direction_in_rig(edge.b.px);
  if (!in_a || !in_b) return false;
  const RibbonAngles a = scene.pair.grid.axes.angles(*in_a);
  const RibbonAngles b = scene.pair.grid.axes.angles(*in_b);
  const double sideways = std::remainder(b.psi_rad - a.psi_rad, 2 * kPi) * std::sin(a.eta_rad);
  const double own = std::sqrt(edge.covariance_px2(0, 0)) / scene.pair.grid.px_per_rad;
  return std::abs(sideways) <= kRefinedReject_rad + kEdgeSigmas * own;
}

void add_edges(const PairScene& scene, const Strip& strip_a, const Strip& strip_b,
               std::vector<PairMatch>& matches, PairTieReport& report) {
  const EdgeSearchOptions options{.pad_px = scene.pad_px(),
                                  .sideways_rad = scene.options.sideways_gate_rad,
                                  .parallax_slack_rad = scene.options.parallax_slack_rad};
  std::vector<PairMatch> edges;
  for (const EdgePair& edge_pair :
       search_edges(strip_a, strip_b, scene.pair.grid, scene.range, matches, options)) {
    auto edge = rough_match(scene, edge_pair.at_a, edge_pair.at_b);
    if (!edge) continue;
    edge->edge = true;
    edges.push_back(*edge);
  }
  for (const PairMatch& edge : refined(scene, edges)) {
    if (!fits_consensus(scene, report.consensus, edge)) continue;
    matches.push_back(edge);
    ++report.edges;
  }
}

// Both sights in frame pixels; the covariance of the difference is shared evenly.
Tie tie_of(const PairScene& scene, int shot, const PairMatch& match) {
  const auto sight = [&](int lens, const RibbonPlace& at) {
    const Mat2 covariance = at.px_by_at * (0.5 * match.covariance_px2) * at.px_by_at.transpose();
    return TieSight{lens, at.px, 0.5 * (covariance + covariance.transpose())};
  };
  Tie tie;
  tie.shot = shot;
  tie.sights = {sight(scene.pair.lens_a, match.a), sight(scene.pair.lens_b, match.b)};
  return tie;
}

TieDetail detail_of(const PairScene& scene, const PairMatch& match) {
  const Vec2 middle = 0.5 * (match.a.at + match.b.at);
  double dx = match.b.at.x() - match.a.at.x();
  if (scene.pair.grid.closed)
    dx = std::remainder(dx, static_cast<double>(scene.pair.grid.width_px));
  const double eta = scene.pair.grid.eta_begin_rad + middle.y() / scene.pair.grid.px_per_rad;
  return {.lens_a = scene.pair.lens_a,
          .lens_b = scene.pair.lens_b,
          .psi_rad = std::remainder(scene.pair.grid.psi_begin_rad +
                                        (match.a.at.x() + 0.5 * dx) / scene.pair.grid.px_per_rad,
                                    2 * kPi),
          .eta_rad = eta,
          .sideways_rad = dx / scene.pair.grid.px_per_rad * std::sin(eta),
          .parallax_rad = (match.a.at.y() - match.b.at.y()) / scene.pair.grid.px_per_rad,
          .ncc = match.ncc,
          .edge = match.edge};
}

int sector_of(const PairScene& scene, const TieDetail& detail) {
  const double turn = detail.psi_rad / (2 * kPi) + 0.5;
  return std::clamp(static_cast<int>(turn * scene.options.cells_psi), 0,
                    scene.options.cells_psi - 1);
}

int cell_of(const PairScene& scene, const PairMatch& match) {
  const TieDetail detail = detail_of(scene, match);
  const double down = (detail.eta_rad - scene.pair.grid.eta_begin_rad) *
                      scene.pair.grid.px_per_rad / scene.pair.grid.height_px;
  const int row =
      std::clamp(static_cast<int>(down * scene.options.cells_eta), 0, scene.options.cells_eta - 1);
  return row * scene.options.cells_psi + sector_of(scene, detail);
}

template <class Score>
std::vector<PairMatch> spread(const PairScene& scene, const std::vector<PairMatch>& matches,
                              int max_count, Score score) {
  std::vector<SpreadItem> items;
  for (const PairMatch& match : matches) items.push_back({cell_of(scene, match), score(match)});
  std::vector<PairMatch> kept;
  for (const int i : spread_evenly(items, max_count)) {
    kept.push_back(matches[static_cast<std::size_t>(i)]);
  }
  return kept;
}

void keep(const PairScene& scene, int shot, const std::vector<PairMatch>& matches,
          PairTies& found) {
  std::vector<char> used(static_cast<std::size_t>(scene.options.cells_psi), 0);
  for (const PairMatch& match : matches) {
    found.ties.push_back(tie_of(scene, shot, match));
    found.details.push_back(detail_of(scene, match));
    used[static_cast<std::size_t>(sector_of(scene, found.details.back()))] = 1;
  }
  found.report.kept = static_cast<int>(found.ties.size());
  for (int sector = 0; sector < scene.options.cells_psi; ++sector) {
    const double psi = -kPi + 2 * kPi * (sector + 0.5) / scene.options.cells_psi;
    if (used[static_cast<std::size_t>(sector)] == 0 && shared(scene, psi)) {
      found.report.empty_sectors_deg.push_back(deg_from_rad(psi));
    }
  }
}

}  // namespace

PairTies find_pair_ties(const MatchedPair& pair, const Rig& rig, int shot,
                        const TieOptions& options) {
  const PairScene scene{
      pair, rig, options,
      DisparityRange(rig, pair.lens_a, pair.lens_b, options.nearest_m, options.nearest_baselines)};
  PairTies found;
  PairTieReport& report = found.report;
  report.lens_a = pair.lens_a;
  report.lens_b = pair.lens_b;
  const RibbonGrid wide = padded(pair.grid, scene.pad_px());
  const Strip strip_a = render_strip(pair.a, wide);
  const Strip strip_b = render_strip(pair.b, wide);
  std::vector<PairMatch> matches = agreed(scene, matched(scene, strip_a, strip_b, report),
                                          options.consensus.least_reject_rad, report.consensus);
  report.consistent = static_cast<int>(matches.size());
  if (options.refined) {
    const auto by_response = [](const PairMatch& match) { return match.response; };
    matches = refined(
        scene, spread(scene, matches, kRefinedPerKept * options.max_ties_per_pair, by_response));
    matches = agreed(scene, matches, kRefinedReject_rad, report.consensus);
    report.refined = static_cast<int>(matches.size());
    if (options.edge_ties) add_edges(scene, strip_a, strip_b, matches, report);
  }
  // Sure in every direction first; edges, which are not, where nothing else is.
  const auto by_sureness = [](const PairMatch& match) {
    return std::max(match.ncc, 0.01) / match.covariance_px2.trace();
  };
  keep(scene, shot, spread(scene, matches, options.max_ties_per_pair, by_sureness), found);
  return found;
}

}  // namespace seamwright
