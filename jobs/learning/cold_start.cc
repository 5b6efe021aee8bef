#include "jobs/learning/cold_start.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/median.h"

namespace seamwright {

namespace {

constexpr double kRimShare = 0.985;  // the outermost part of the circle is soft and dark
constexpr double kWidestTheta_rad = rad_from_deg(115);

// The median circle of one lens over shots: dark scenes hide parts of the rim in single frames.
std::optional<ImageCircle> circle_of_lens(std::span<const std::vector<Image>> frames,
                                          std::size_t lens) {
  std::vector<ImageCircle> found;
  for (const auto& shot : frames) {
    if (const auto circle = find_image_circle(shot[lens])) found.push_back(*circle);
  }
  if (found.empty()) return std::nullopt;
  const auto median_of = [&](auto&& value) {
    std::vector<double> values;
    for (const ImageCircle& circle : found) values.push_back(value(circle));
    return median(std::move(values));
  };
  ImageCircle circle;
  circle.centre_px = {median_of([](const ImageCircle& c) { return c.centre_px.x(); }),
                      median_of([](const ImageCircle& c) { return c.centre_px.y(); })};
  circle.radius_px = median_of([](const ImageCircle& c) { return c.radius_px; });
  circle.residual_px = median_of([](const ImageCircle& c) { return c.residual_px; });
  circle.coverage = median_of([](const ImageCircle& c) { return c.coverage; });
  return circle;
}

// Centre and focal length from the circle, if the starter's field of view is right.
void fit_to_circle(const ImageCircle& circle, Lens& lens) {
  lens.terms[kFocal] *= circle.radius_px / lens.rim_radius_px();
  lens.terms[kCentreU] = circle.centre_px.x();
  lens.terms[kCentreV] = circle.centre_px.y();
}

void scale_baseline(double baseline_m, Rig& rig) {
  const double factor = baseline_m / rig.baseline(0, 1).norm();
  for (MountedLens& mounted : rig.lenses) mounted.pupil *= factor;
}

void end_fields_at_rims(const std::vector<std::optional<ImageCircle>>& circles, Rig& rig) {
  for (std::size_t i = 0; i < rig.lenses.size(); ++i) {
    if (!circles[i]) continue;
    rig.lenses[i].lens = with_field_to_rim(rig.lenses[i].lens, circles[i]->radius_px);
  }
}

// One pass over all shots: matches through the rig, then a correction pair after pair along the
// order of the lenses, so that each lens is turned onto one that already stands.
Result<int> correct_once(std::span<const std::vector<Image>> frames, const TieOptions& options,
                         const std::vector<std::optional<ImageCircle>>& circles, Rig& rig) {
  std::vector<Tie> ties;
  for (std::size_t shot = 0; shot < frames.size(); ++shot) {
    auto set = find_ties(frames[shot], rig, static_cast<int>(shot), options);
    if (!set) return fail(std::move(set.error()));
    ties.insert(ties.end(), set->ties.begin(), set->ties.end());
  }
  ConsensusOptions consensus = options.consensus;
  consensus.nearest_m = options.nearest_m;
  consensus.parallax_slack_rad = std::max(consensus.parallax_slack_rad, rad_from_deg(0.5));
  int consistent = 0;
  for (int b = 1; b < rig.lens_count(); ++b) {
    const ConsensusResult result = consensus_of_pair(ties, rig, b - 1, b, consensus);
    consistent += result.inliers;
    if (result.inliers < options.max_ties_per_pair / 40) continue;
    rig = corrected(rig, b - 1, b, result);
  }
  end_fields_at_rims(circles, rig);
  return consistent;
}

}  // namespace

Lens with_field_to_rim(Lens lens, double rim_radius_px) {
  const double rim = kRimShare * rim_radius_px;
  lens.theta_max_rad = std::min(kWidestTheta_rad, lens.fold_angle_rad() * (1 - 1e-6));
  if (lens.rim_radius_px() <= rim) return lens;
  double low = 0;
  double high = lens.theta_max_rad;
  for (int i = 0; i < 60; ++i) {
    const double middle = 0.5 * (low + high);
    (lens.terms[kFocal] * lens.radius(middle) < rim ? low : high) = middle;
  }
  lens.theta_max_rad = low;
  return lens;
}

Result<ColdStart> cold_start(std::span<const std::vector<Image>> frames,
                             const LearnOptions& options) {
  const Image& first = frames[0][0];
  auto starter = starter_template(options.starter, first.width(), first.height());
  if (!starter) return fail(std::move(starter.error()));
  ColdStart start;
  start.rig = starter->rig();
  if (start.rig.lenses.size() != frames[0].size()) {
    return fail({.field = "lenses",
                 .what = fmt::format("the starter {} has {} lenses, the shots have {} frames",
                                     options.starter, start.rig.lenses.size(), frames[0].size()),
                 .remedy = "name a starter for this many lenses"});
  }
  if (options.baseline_m) scale_baseline(*options.baseline_m, start.rig);
  for (std::size_t lens = 0; lens < start.rig.lenses.size(); ++lens) {
    start.circles.push_back(circle_of_lens(frames, lens));
    if (start.circles.back()) fit_to_circle(*start.circles.back(), start.rig.lenses[lens].lens);
  }
  end_fields_at_rims(start.circles, start.rig);

  const std::vector<TieOptions> passes = {TieOptions::cold_start(),
                                          TieOptions::cold_start(rad_from_deg(3), 0.02)};
  for (const TieOptions& pass : passes) {
    TieOptions gates = pass;
    gates.nearest_m = options.ties.nearest_m;
    auto consistent = correct_once(frames, gates, start.circles, start.rig);
    if (!consistent) return fail(std::move(consistent.error()));
    start.consensus_ties = *consistent;
  }
  if (start.consensus_ties < options.solving.minimum_ties) {
    return fail({.kind = ErrorKind::numeric,
                 .field = "frames",
                 .what = fmt::format("only {} matches between the lenses agree, {} are needed",
                                     start.consensus_ties, options.solving.minimum_ties),
                 .remedy = "check for a lens cap, that the frames belong to one shot and that the "
                           "starter fits the body"});
  }
  return start;
}

}  // namespace seamwright
