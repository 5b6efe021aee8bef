#include "features/consensus.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <optional>
#include <random>
#include <span>
#include <vector>

#include "base/median.h"
#include "base/parallel.h"
#include "features/disparity.h"
#include "features/square.h"
#include "projection/dense_algebra.h"
#include "projection/ribbon.h"

namespace seamwright {

namespace {

constexpr int kSample = 3;            // ties of one hypothesis: 6 measurements, 4 unknowns
constexpr std::size_t kScored = 300;  // ties that hypotheses are scored on
constexpr double kParallaxSigma = rad_from_deg(1.0);  // above the lower envelope: depth
constexpr double kEnvelopeSigma = rad_from_deg(0.1);  // below it: behind infinity
constexpr double kCentreSigma_px = 6;                 // principal points are known this well

double wrapped(double angle) { return std::remainder(angle, 2 * kPi); }

// A match as a pair of directions in the rig, with what moves them.
struct SeenMatch {
  std::size_t tie = 0;
  Vec3 a, b;                    // unit directions under the current rig
  Vec3 a_focal, b_focal;        // change of them by log focal length
  Vec3 b_centre_u, b_centre_v;  // change of b by the principal point of its lens, per px
};

// The correction sought. The centre of lens b only serves to judge ties: it absorbs what a wrong
// principal point of either lens does to the sideways parts.
struct Correction {
  Quat turn = Quat::Identity();
  double log_focal = 0;
  Vec2 centre_px = Vec2::Zero();
};

struct Parts {
  double sideways = 0;  // (ψ_b − ψ_a) sin η
  double parallax = 0;  // η_a − η_b
};

std::optional<Vec3> focal_slope(const MountedLens& mounted, const Vec3& in_rig) {
  const Vec3 d = mounted.rig_from_lens.conjugate() * in_rig;
  const double plane = std::hypot(d.x(), d.y());
  const double theta = std::atan2(plane, d.z());
  const double slope = mounted.lens.radius_slope(theta);
  if (plane < 1e-9 || slope <= 0) return std::nullopt;
  const Vec3 outwards(d.x() / plane * d.z(), d.y() / plane * d.z(), -plane);
  return Vec3(mounted.rig_from_lens * (-mounted.lens.radius(theta) / slope * outwards));
}

// Both directions are of the rig; px_b is where lens b has its own.
std::optional<SeenMatch> seen_match(std::size_t index, const MountedLens& a, const Vec3& from_a,
                                    const MountedLens& b, const Vec3& from_b, const Vec2& px_b) {
  // A principal point moved by +1 px sees the pixel as if it were at −1 px; towards the middle of
  // the frame the field of view never ends.
  const double to_left = px_b.x() > b.lens.terms[kCentreU] ? 1 : -1;
  const double to_top = px_b.y() > b.lens.terms[kCentreV] ? 1 : -1;
  const auto left = b.direction_in_rig(px_b - Vec2(to_left, 0));
  const auto top = b.direction_in_rig(px_b - Vec2(0, to_top));
  if (!left || !top) return std::nullopt;
  const auto focal_a = focal_slope(a, from_a);
  const auto focal_b = focal_slope(b, from_b);
  if (!focal_a || !focal_b) return std::nullopt;
  return SeenMatch{index,
                   from_a,
                   from_b,
                   *focal_a,
                   *focal_b,
                   (*left - from_b) * to_left,
                   (*top - from_b) * to_top};
}

std::optional<SeenMatch> seen_match(std::size_t index, const Tie& tie, const Rig& rig, int lens_a,
                                    int lens_b) {
  const TieSight* sight_a = nullptr;
  const TieSight* sight_b = nullptr;
  for (const TieSight& sight : tie.sights) {
    if (sight.lens == lens_a) sight_a = &sight;
    if (sight.lens == lens_b) sight_b = &sight;
  }
  if (sight_a == nullptr || sight_b == nullptr) return std::nullopt;
  const MountedLens& a = rig.lenses[static_cast<std::size_t>(lens_a)];
  const MountedLens& b = rig.lenses[static_cast<std::size_t>(lens_b)];
  const auto from_a = a.direction_in_rig(sight_a->px);
  const auto from_b = b.direction_in_rig(sight_b->px);
  if (!from_a || !from_b) return std::nullopt;
  return seen_match(index, a, *from_a, b, *from_b, sight_b->px);
}

// d turned along the sphere by the tangent vector.
Vec3 moved(const Vec3& d, const Vec3& tangent) {
  const double angle = tangent.norm();
  if (angle < 1e-12) return d;
  return std::cos(angle) * d + std::sin(angle) / angle * tangent;
}

class PairModel {
 public:
  PairModel(const Rig& rig, int lens_a, int lens_b, const ConsensusOptions& options)
      : axes_(RibbonAxes::of_pair(rig, lens_a, lens_b)),
        range_(rig, lens_a, lens_b, options.nearest_m, options.nearest_baselines),
        options_(options) {}

  [[nodiscard]] Parts parts(const SeenMatch& s, const Correction& c) const {
    const RibbonAngles a = axes_.angles(moved(s.a, c.log_focal * s.a_focal));
    const Vec3 shifted =
        c.log_focal * s.b_focal + c.centre_px.x() * s.b_centre_u + c.centre_px.y() * s.b_centre_v;
    const RibbonAngles b = axes_.angles(c.turn * moved(s.b, shifted));
    return {wrapped(b.psi_rad - a.psi_rad) * std::sin(0.5 * (a.eta_rad + b.eta_rad)),
            a.eta_rad - b.eta_rad};
  }

  [[nodiscard]] bool parallax_possible(const SeenMatch& s, const Parts& parts) const {
    const double slack = options_.parallax_slack_rad;
    return parts.parallax >= -slack &&
           parts.parallax <= range_.nearest_seen_from_a(axes_.angles(s.a).eta_rad) + slack;
  }

  [[nodiscard]] bool within_bounds(const Correction& c) const {
    return 2 * std::atan2(c.turn.vec().norm(), std::abs(c.turn.w())) <=
               options_.largest_rotation_rad &&
           std::abs(c.log_focal) <= std::max(options_.largest_focal_change, 1e-9);
  }

 private:
  RibbonAxes axes_;
  DisparityRange range_;
  ConsensusOptions options_;
};

// Unknowns of a step: turn (3, rotation vector on the left), log focal, centre (2).
using Step = Eigen::Matrix<double, 6, 1>;
using StepNormal = Eigen::Matrix<double, 6, 6>;

Correction stepped(const Correction& c, const Step& step) {
  return {(quat_from_rotation_vector(step.head<3>()) * c.turn).normalized(), c.log_focal + step[3],
          c.centre_px + step.tail<2>()};
}

struct Weighting {
  double sideways_sigma = rad_from_deg(0.1);
  bool robust = false;       // Cauchy sideways
  bool centre_free = false;  // let the principal point move
};

class Fit {
 public:
  Fit(const PairModel& model, const ConsensusOptions& options) : model_(model) {
    prior_.head<3>().setConstant(1 / square(options.largest_rotation_rad / 2));
    prior_[3] =
        options.largest_focal_change > 0 ? 1 / square(options.largest_focal_change / 2) : 1e12;
  }

  // One Gauss–Newton step from `at` on the given ties.
  [[nodiscard]] std::optional<Correction> step(std::span<const SeenMatch* const> ties,
                                               const Correction& at,
                                               const Weighting& weighting) const {
    Step prior = prior_;
    prior.tail<2>().setConstant(weighting.centre_free ? 1 / square(kCentreSigma_px) : 1e12);
    Step state;
    state << rotation_vector_from_quat(at.turn), at.log_focal, at.centre_px;
    StepNormal normal = prior.asDiagonal();
    Step gradient = prior.cwiseProduct(state);
    for (const SeenMatch* tie : ties) add(*tie, at, weighting, normal, gradient);
    const Step step = -solve_symmetric(normal, gradient);
    if (!step.allFinite()) return std::nullopt;
    return stepped(at, step);
  }

 private:
  void add(const SeenMatch& tie, const Correction& at, const Weighting& weighting,
           StepNormal& normal, Step& gradient) const {
    const Parts here = model_.parts(tie, at);
    Step sideways;
    Step parallax;
    const int used = weighting.centre_free ? 6 : 4;
    for (int i = 0; i < 6; ++i) {
      if (i >= used) {
        sideways[i] = parallax[i] = 0;
        continue;
      }
      const double h = i < 4 ? 1e-6 : 1e-3;
      const Parts beside = model_.parts(tie, stepped(at, h * Step::Unit(i)));
      sideways[i] = (beside.sideways - here.sideways) / h;
      parallax[i] = (beside.parallax - here.parallax) / h;
    }
    double sideways_weight = 1 / square(weighting.sideways_sigma);
    if (weighting.robust) sideways_weight /= 1 + square(here.sideways / weighting.sideways_sigma);
    const double parallax_sigma = here.parallax < 0 ? kEnvelopeSigma : kParallaxSigma;
    // Cauchy in parallax too: a few false matches must not drag the envelope.
    const double parallax_weight =
        1 / square(parallax_sigma) / (1 + square(here.parallax / (3 * parallax_sigma)));
    normal += sideways_weight * sideways * sideways.transpose() +
              parallax_weight * parallax * parallax.transpose();
    gradient +=
        sideways_weight * here.sideways * sideways + parallax_weight * here.parallax * parallax;
  }

  const PairModel& model_;
  Step prior_ = Step::Zero();
};

class Search {
 public:
  Search(const std::vector<SeenMatch>& seen, const PairModel& model,
         const ConsensusOptions& options)
      : matches_(seen), model_(model), fit_(model, options), options_(options) {
    const std::size_t stride = std::max<std::size_t>(1, seen.size() / kScored);
    for (std::size_t i = 0; i < seen.size(); i += stride) scored_.push_back(&seen[i]);
  }

  // Samples are drawn one after the other and tried side by side; the first of the best wins.
  [[nodiscard]] Correction best() const {
    std::mt19937_64 engine(options_.seed);
    std::vector<Trial> trials(static_cast<std::size_t>(options_.iterations));
    for (Trial& trial : trials) {
      for (const SeenMatch*& tie : trial.sample) tie = &matches_[engine() % matches_.size()];
    }
    parallel_for(0, options_.iterations, [&](int i) {
      Trial& trial = trials[static_cast<std::size_t>(i)];
      const auto candidate = hypothesis(trial.sample);
      if (!candidate) return;
      trial.correction = *candidate;
      trial.points = score(*candidate);
    });
    Correction winner;
    double winning = score(winner);
    for (const Trial& trial : trials) {
      if (trial.points <= winning) continue;
      winning = trial.points;
      winner = trial.correction;
    }
    return polished(winner);
  }

  [[nodiscard]] std::vector<const SeenMatch*> consistent(const Correction& c,
                                                         double sideways_limit) const {
    std::vector<const SeenMatch*> ties;
    for (const SeenMatch& s : matches_) {
      const Parts parts = model_.parts(s, c);
      if (std::abs(parts.sideways) <= sideways_limit && model_.parallax_possible(s, parts)) {
        ties.push_back(&s);
      }
    }
    return ties;
  }

  [[nodiscard]] double sideways_mad(const std::vector<const SeenMatch*>& ties,
                                    const Correction& c) const {
    std::vector<double> size;
    size.reserve(ties.size());
    for (const SeenMatch* s : ties) size.push_back(std::abs(model_.parts(*s, c).sideways));
    return 1.4826 * median(size);
  }

 private:
  using Sample = std::array<const SeenMatch*, kSample>;
  struct Trial {
    Sample sample = {};
    Correction correction = {};
    double points = -1;  // of one that leads nowhere
  };

  [[nodiscard]] double score(const Correction& c) const {
    double points = 0;
    for (const SeenMatch* s : scored_) {
      const Parts parts = model_.parts(*s, c);
      const double q = parts.sideways / options_.sideways_tolerance_rad;
      if (q * q < 1 && model_.parallax_possible(*s, parts)) points += 1 - q * q;
    }
    return points;
  }

  [[nodiscard]] std::optional<Correction> hypothesis(const Sample& sample) const {
    Correction c;
    for (int i = 0; i < 3; ++i) {
      const auto next = fit_.step(sample, c, Weighting{});
      if (!next) return std::nullopt;
      c = *next;
    }
    if (!model_.within_bounds(c)) return std::nullopt;
    return c;
  }

  // All consistent ties together, robustly, the principal point free at the end.
  [[nodiscard]] Correction polished(Correction c) const {
    for (int i = 0; i < 12; ++i) {
      const bool late = i >= 4;
      const double limit = (late ? 1.5 : 1.0) * options_.sideways_tolerance_rad;
      const auto ties = consistent(c, limit);
      if (ties.size() < kSample) break;
      const Weighting weighting{std::max(sideways_mad(ties, c), 1e-5), true, late};
      const auto next = fit_.step(ties, c, weighting);
      if (!next || !model_.within_bounds(*next)) break;
      c = *next;
    }
    return c;
  }

  const std::vector<SeenMatch>& matches_;
  const PairModel& model_;
  Fit fit_;
  ConsensusOptions options_;
  std::vector<const SeenMatch*> scored_;
};

ConsensusResult consensus_of(const std::vector<SeenMatch>& seen, std::size_t given, const Rig& rig,
                             int lens_a, int lens_b, const ConsensusOptions& options) {
  ConsensusResult result;
  result.inlier.assign(given, false);
  result.candidates = static_cast<int>(seen.size());
  if (seen.size() <= kSample) {
    for (const SeenMatch& s : seen) result.inlier[s.tie] = true;
    result.inliers = result.candidates;
    return result;
  }
  const PairModel model(rig, lens_a, lens_b, options);
  const Search search(seen, model, options);
  const Correction found = search.best();
  const auto near = search.consistent(found, 1.5 * options.sideways_tolerance_rad);
  const double limit =
      std::max(options.reject_mads * search.sideways_mad(near, found), options.least_reject_rad);
  const auto inliers = search.consistent(found, limit);
  for (const SeenMatch* s : inliers) result.inlier[s->tie] = true;
  result.inliers = static_cast<int>(inliers.size());
  result.sideways_mad_rad = search.sideways_mad(inliers, found);
  result.correction = found.turn;
  result.focal_scale = std::exp(found.log_focal);
  return result;
}

}  // namespace

ConsensusResult consensus_of_pair(std::span<const Tie> ties, const Rig& rig, int lens_a, int lens_b,
                                  const ConsensusOptions& options) {
  std::vector<SeenMatch> seen;
  for (std::size_t i = 0; i < ties.size(); ++i) {
    if (auto s = seen_match(i, ties[i], rig, lens_a, lens_b)) seen.push_back(*s);
  }
  return consensus_of(seen, ties.size(), rig, lens_a, lens_b, options);
}

ConsensusResult consensus_of_pair(std::span<const PairMatch> matches, const Rig& rig, int lens_a,
                                  int lens_b, const ConsensusOptions& options) {
  const MountedLens& a = rig.lenses[static_cast<std::size_t>(lens_a)];
  const MountedLens& b = rig.lenses[static_cast<std::size_t>(lens_b)];
  std::vector<SeenMatch> seen;
  for (std::size_t i = 0; i < matches.size(); ++i) {
    const PairMatch& match = matches[i];
    if (auto s = seen_match(i, a, match.a.direction, b, match.b.direction, match.b.px)) {
      seen.push_back(*s);
    }
  }
  return consensus_of(seen, matches.size(), rig, lens_a, lens_b, options);
}

Rig corrected(const Rig& rig, int lens_a, int lens_b, const ConsensusResult& result) {
  Rig better = rig;
  MountedLens& b = better.lenses[static_cast<std::size_t>(lens_b)];
  b.rig_from_lens = (result.correction * b.rig_from_lens).normalized();
  better.lenses[static_cast<std::size_t>(lens_a)].lens.terms[kFocal] *= result.focal_scale;
  b.lens.terms[kFocal] *= result.focal_scale;
  return better;
}

}  // namespace seamwright
