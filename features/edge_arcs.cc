#include "features/edge_arcs.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <iterator>
#include <limits>
#include <optional>

#include "base/parallel.h"

namespace seamwright {

namespace {

// A piece of a chain that is nearly a great arc.
struct Piece {
  std::vector<Vec3> directions;
  GreatArc arc;
};

class ChainCutter {
 public:
  ChainCutter(const Lens& lens, const EdgeArcOptions& options) : lens_(lens), options_(options) {}

  std::vector<Piece> cut(const EdgeChain& chain) {
    directions_.clear();
    bright_.clear();
    for (const Edgel& edgel : chain) {
      const auto direction = lens_.unproject(edgel.px);
      const auto bright = lens_.unproject(edgel.px + edgel.gradient.normalized());
      if (!direction || !bright) continue;
      directions_.push_back(*direction);
      bright_.push_back(*bright - *direction);
    }
    pieces_.clear();
    split(0, directions_.size());
    return std::move(pieces_);
  }

 private:
  void split(std::size_t begin, std::size_t end) {
    if (end < begin + static_cast<std::size_t>(options_.shortest)) return;
    const std::span<const Vec3> part(directions_.data() + begin, end - begin);
    auto arc = GreatArc::fitted(part);
    if (!arc) return;
    std::size_t worst = begin;
    double most = 0;
    for (std::size_t i = begin; i < end; ++i) {
      const double off = std::abs(arc->beside(directions_[i]));
      if (off <= most) continue;
      most = off;
      worst = i;
    }
    // A curve without a kink is halved: its halves are straighter, and too short in the end.
    const double sagitta = arc->curvature() * std::pow(arc->length_rad(), 2) / 8;
    const double slack = options_.tolerance_px / options_.px_per_rad;
    const bool bent = arc->curvature() > options_.largest_curvature_per_rad && sagitta > slack;
    if (most <= slack && !bent) {
      keep(begin, part, *arc);
      return;
    }
    const std::size_t least = begin + static_cast<std::size_t>(options_.shortest) / 2;
    const std::size_t largest = end - static_cast<std::size_t>(options_.shortest) / 2;
    const std::size_t middle = bent ? begin + (end - begin) / 2 : std::clamp(worst, least, largest);
    split(begin, middle);
    split(middle, end);
  }

  void keep(std::size_t begin, std::span<const Vec3> part, GreatArc arc) {
    Vec3 bright = Vec3::Zero();
    for (std::size_t i = 0; i < part.size(); ++i) bright += bright_[begin + i];
    if (bright.dot(arc.normal) < 0) {
      arc.normal = -arc.normal;
      arc.bow = -arc.bow;
    }
    pieces_.push_back({{part.begin(), part.end()}, arc});
  }

  const Lens& lens_;
  const EdgeArcOptions& options_;
  std::vector<Vec3> directions_;
  std::vector<Vec3> bright_;  // towards the bright side, parallel
  std::vector<Piece> pieces_;
};

// Several pieces on one arc.
class Joined {
 public:
  Joined(const Piece& seed, const EdgeArcOptions& options) : options_(options), arc_(seed.arc) {
    append(seed);
  }

  [[nodiscard]] const GreatArc& arc() const { return arc_; }
  /// Share of the arc that its pieces cover.
  [[nodiscard]] double cover() const { return covered_ / arc_.length_rad(); }

  /// Gap to a piece that may continue the arc; empty for one that does not.
  [[nodiscard]] std::optional<double> gap_to(const Piece& piece) const {
    constexpr double kAligned = 0.99;  // 8°
    if (arc_.normal.dot(piece.arc.normal) < kAligned) return std::nullopt;
    const double a = arc_.along(piece.directions.front());
    const double b = arc_.along(piece.directions.back());
    const double gap =
        std::max({0.0, std::min(a, b) - arc_.to_rad, arc_.from_rad - std::max(a, b)});
    if (gap > options_.largest_gap_rad) return std::nullopt;
    // Beyond its end, a short arc's own course is not well known.
    for (const Vec3& place :
         {piece.directions.front(), piece.directions[piece.directions.size() / 2],
          piece.directions.back()}) {
      const double s = arc_.along(place);
      const double out = std::max({0.0, s - arc_.to_rad, arc_.from_rad - s});
      const double unsure_px = 1.5 * options_.tolerance_px * (1 + 2 * out / arc_.length_rad());
      if (std::abs(straight_beside(place, s)) * options_.px_per_rad >
          std::min(unsure_px, 6 * options_.tolerance_px)) {
        return std::nullopt;
      }
    }
    return gap;
  }

  /// False, and nothing changed, when the arc does not take the piece.
  bool take(const Piece& piece) {
    std::vector<Vec3> all = directions_;
    all.insert(all.end(), piece.directions.begin(), piece.directions.end());
    auto fitted = GreatArc::fitted(all);
    if (!fitted || fitted->length_rad() > kPi * 0.9) return false;
    const double slack = options_.tolerance_px / options_.px_per_rad;
    double sum = 0;
    for (const Vec3& direction : all) sum += std::pow(fitted->beside(direction), 2);
    if (std::sqrt(sum / static_cast<double>(all.size())) > 0.6 * slack) return false;
    const double sagitta = fitted->curvature() * std::pow(fitted->length_rad(), 2) / 8;
    if (fitted->curvature() > options_.largest_curvature_per_rad && sagitta > slack) return false;
    if (fitted->normal.dot(arc_.normal) < 0) {
      fitted->normal = -fitted->normal;
      fitted->bow = -fitted->bow;
    }
    arc_ = *fitted;
    append(piece);
    return true;
  }

 private:
  void append(const Piece& piece) {
    covered_ += piece.arc.length_rad();
    directions_.insert(directions_.end(), piece.directions.begin(), piece.directions.end());
  }

  // Outside of the arc its parabola must not run away: it goes on straight.
  [[nodiscard]] double straight_beside(const Vec3& place, double s) const {
    const double inside = std::clamp(s, arc_.from_rad, arc_.to_rad);
    const double slope = arc_.bow[1] + 2 * inside * arc_.bow[2];
    const double expected = arc_.height(inside) + (s - inside) * slope;
    return std::asin(std::clamp(place.dot(arc_.normal), -1.0, 1.0)) - expected;
  }

  const EdgeArcOptions& options_;
  GreatArc arc_;
  std::vector<Vec3> directions_;
  double covered_ = 0;
};

std::vector<GreatArc> join(const std::vector<Piece>& pieces, const EdgeArcOptions& options) {
  std::vector<GreatArc> arcs;
  std::vector<char> used(pieces.size(), 0);
  for (std::size_t seed = 0; seed < pieces.size(); ++seed) {
    // The least seed: long enough for a course of its own.
    if (pieces[seed].arc.length_rad() < 0.2 * options.least_length_rad) break;
    if (used[seed] != 0) continue;
    Joined joined(pieces[seed], options);
    std::vector<std::size_t> members = {seed};
    std::vector<char> refused = used;
    refused[seed] = 1;
    while (true) {
      std::optional<std::size_t> nearest;
      double least = std::numeric_limits<double>::infinity();
      for (std::size_t i = 0; i < pieces.size(); ++i) {
        if (refused[i] != 0) continue;
        const auto gap = joined.gap_to(pieces[i]);
        if (!gap || *gap >= least) continue;
        least = *gap;
        nearest = i;
      }
      if (!nearest) break;
      refused[*nearest] = 1;
      if (joined.take(pieces[*nearest])) members.push_back(*nearest);
    }
    if (joined.arc().length_rad() < options.least_length_rad) continue;
    if (joined.cover() < options.least_cover) continue;
    for (const std::size_t member : members) used[member] = 1;
    arcs.push_back(joined.arc());
  }
  return arcs;
}

}  // namespace

std::vector<GreatArc> find_edge_arcs(std::span<const EdgeChain> chains, const Lens& lens,
                                     const EdgeArcOptions& options) {
  std::vector<std::vector<Piece>> cut(chains.size());
  parallel_for(0, static_cast<int>(chains.size()), [&](int i) {
    const auto chain = static_cast<std::size_t>(i);
    cut[chain] = ChainCutter(lens, options).cut(chains[chain]);
  });
  std::vector<Piece> pieces;
  for (std::vector<Piece>& some : cut) {
    std::move(some.begin(), some.end(), std::back_inserter(pieces));
  }
  std::stable_sort(pieces.begin(), pieces.end(), [](const Piece& a, const Piece& b) {
    return a.arc.length_rad() > b.arc.length_rad();
  });
  return join(pieces, options);
}

}  // namespace seamwright
