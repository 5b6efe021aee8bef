#include "features/strip_matcher.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>

#include "base/parallel.h"

namespace seamwright {

namespace {

constexpr double kSamePlace_px = 4;  // at least this far apart to be another place
constexpr int kWorst = std::numeric_limits<int>::max();

class Gate {
 public:
  Gate(const RibbonGrid& grid, const DisparityRange& range, const MatchGate& gate)
      : grid_(grid), range_(range), gate_(gate) {}

  // Rows of b (y) that can hold the partner of a key in a.
  struct Rows {
    double first, last;
  };
  [[nodiscard]] Rows rows_in_b(const StripKey& a) const {
    const double eta = grid_.eta_begin_rad + a.at.y() / grid_.px_per_rad;
    const double most = range_.nearest_seen_from_a(eta) + gate_.parallax_slack_rad;
    return {a.at.y() - most * grid_.px_per_rad,
            a.at.y() + gate_.parallax_slack_rad * grid_.px_per_rad};
  }

  [[nodiscard]] double sideways_px(const StripKey& a, const StripKey& b) const {
    double dx = b.at.x() - a.at.x();
    if (grid_.closed) dx = std::remainder(dx, static_cast<double>(grid_.width_px));
    return dx;
  }

  // Columns: the gate is an angle on the sphere, wider in raster columns away from η = 90°.
  [[nodiscard]] double half_width_px(const StripKey& a) const {
    const double eta = grid_.eta_begin_rad + a.at.y() / grid_.px_per_rad;
    return gate_.sideways_rad * grid_.px_per_rad / std::max(std::sin(eta), 0.1);
  }

  [[nodiscard]] bool similar_size(const StripKey& a, const StripKey& b) const {
    const double ratio = a.size_px / b.size_px;
    return ratio <= gate_.max_scale_ratio && ratio >= 1 / gate_.max_scale_ratio;
  }

  [[nodiscard]] bool lets_through(const StripKey& a, const Rows& rows, double half_width,
                                  const StripKey& b) const {
    return b.at.y() >= rows.first && b.at.y() <= rows.last &&
           std::abs(sideways_px(a, b)) <= half_width && similar_size(a, b);
  }

 private:
  const RibbonGrid& grid_;
  const DisparityRange& range_;
  const MatchGate& gate_;
};

// The best partner and the best at another place.
struct Contest {
  int best = -1;
  int best_distance = kWorst;
  int rival_distance = kWorst;
};

struct StripCandidate {
  int key = 0;
  int distance = 0;
};

// `others` are the keys the candidates index.
Contest decide(const std::vector<StripCandidate>& candidates, const std::vector<StripKey>& others) {
  Contest contest;
  for (const StripCandidate& c : candidates) {
    if (c.distance < contest.best_distance) {
      contest.best = c.key;
      contest.best_distance = c.distance;
    }
  }
  if (contest.best < 0) return contest;
  const StripKey& best = others[static_cast<std::size_t>(contest.best)];
  const double same_place = std::max(kSamePlace_px, static_cast<double>(best.size_px));
  for (const StripCandidate& c : candidates) {
    if ((others[static_cast<std::size_t>(c.key)].at - best.at).norm() > same_place) {
      contest.rival_distance = std::min(contest.rival_distance, c.distance);
    }
  }
  return contest;
}

bool stands_out(const Contest& contest, double max_ratio) {
  return contest.best >= 0 &&
         std::sqrt(static_cast<double>(contest.best_distance)) <
             max_ratio * std::sqrt(static_cast<double>(contest.rival_distance));
}

}  // namespace

std::vector<KeyPair> match_keys(const std::vector<StripKey>& keys_a,
                                const std::vector<StripKey>& keys_b, const RibbonGrid& grid,
                                const DisparityRange& range, const MatchGate& gate) {
  const Gate door(grid, range, gate);
  // Keys come ordered by y: the rows of the gate are one run.
  std::vector<std::vector<StripCandidate>> of_a(keys_a.size());
  parallel_for(0, static_cast<int>(keys_a.size()), [&](int i) {
    const StripKey& a = keys_a[static_cast<std::size_t>(i)];
    const auto rows = door.rows_in_b(a);
    const double half_width = door.half_width_px(a);
    const auto first = std::lower_bound(keys_b.begin(), keys_b.end(), rows.first,
                                        [](const StripKey& b, double y) { return b.at.y() < y; });
    for (auto b = first; b != keys_b.end() && b->at.y() <= rows.last; ++b) {
      if (!door.lets_through(a, rows, half_width, *b)) continue;
      of_a[static_cast<std::size_t>(i)].push_back(
          {static_cast<int>(b - keys_b.begin()), distance(a.descriptor, b->descriptor)});
    }
  });
  std::vector<std::vector<StripCandidate>> of_b(keys_b.size());
  for (std::size_t i = 0; i < of_a.size(); ++i) {
    for (const StripCandidate& c : of_a[i]) {
      of_b[static_cast<std::size_t>(c.key)].push_back({static_cast<int>(i), c.distance});
    }
  }
  std::vector<KeyPair> matches;
  for (std::size_t i = 0; i < of_a.size(); ++i) {
    const Contest forth = decide(of_a[i], keys_b);
    if (!stands_out(forth, gate.max_ratio)) continue;
    const Contest back = decide(of_b[static_cast<std::size_t>(forth.best)], keys_a);
    if (back.best != static_cast<int>(i) || !stands_out(back, gate.max_ratio)) continue;
    matches.push_back({static_cast<int>(i), forth.best});
  }
  return matches;
}

}  // namespace seamwright
