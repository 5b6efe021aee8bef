#include "jobs/shot/ring_check.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>

#include "projection/ribbon.h"
#include "solver/seam_error.h"
#include "templates/frame_scale.h"

namespace seamwright {

namespace {

// Where the middle of the overlap's width lies at an azimuth.
Vec3 middle_of(const PairOverlap& overlap, double psi_rad) {
  const RibbonGrid& grid = overlap.grid;
  const double eta = grid.eta_begin_rad + 0.5 * grid.height_px / grid.px_per_rad;
  return grid.axes.direction({psi_rad, eta});
}

// What the touch moved, at the azimuths at which it says how sure it is.
std::vector<RingPlace> places_of(const Rig& body, const TouchResult& touched, double scale) {
  std::vector<RingPlace> places;
  std::map<std::pair<int, int>, std::optional<PairOverlap>> overlaps;
  for (const TouchSeam& seam : touched.seam) {
    const auto [known, added] = overlaps.try_emplace({seam.lens_a, seam.lens_b});
    std::optional<PairOverlap>& overlap = known->second;
    if (added) overlap = overlap_of(body, seam.lens_a, seam.lens_b);
    if (!overlap) continue;
    const Vec3 direction = middle_of(*overlap, seam.psi_rad);
    const std::vector<SeamSample> moved = seam_misalignment(
        body, touched.rig, seam.lens_a, seam.lens_b, {overlap->grid.axes.angles(direction)});
    if (moved.empty()) continue;
    places.push_back(
        {.lens_a = seam.lens_a,
         .lens_b = seam.lens_b,
         .psi_rad = seam.psi_rad,
         .direction = direction,
         .parallax_px = moved.front().parallax_px / scale,
         .sideways_px = moved.front().sideways_px / scale,
         .sigma_px = std::hypot(seam.parallax_after_px, seam.sideways_after_px) / scale});
  }
  return places;
}

double p95_of(const std::vector<RingPlace>& places) {
  if (places.empty()) return 0;
  std::vector<double> sizes;
  for (const RingPlace& place : places) sizes.push_back(place.px());
  const auto at = sizes.begin() +
                  static_cast<std::ptrdiff_t>(0.95 * static_cast<double>(sizes.size() - 1) + 0.5);
  std::nth_element(sizes.begin(), at, sizes.end());
  return *at;
}

// What the touch does not explain.
void measure_left(const TouchResult& touched, double scale, RingCheck& ring) {
  double sum = 0;
  int used = 0;
  for (const TouchTie& tie : touched.ties) {
    if (!tie.used) continue;
    sum += std::pow(tie.after.sideways_px / scale, 2);
    ++used;
  }
  if (used > 0) ring.left_px = std::sqrt(sum / used);
  ring.used_share = static_cast<double>(used) / static_cast<double>(touched.ties.size());
}

double unseen_share(const TieReport& report, int cells_psi) {
  double empty = 0, all = 0;
  for (const PairTieReport& pair : report.pairs) {
    if (pair.kept == 0 && pair.matched == 0) continue;
    empty += static_cast<double>(pair.empty_sectors_deg.size());
    all += cells_psi;
  }
  return all > 0 ? empty / all : 1;
}

}  // namespace

double RingPlace::px() const { return std::hypot(parallax_px, sideways_px); }

const RingPlace* RingCheck::worst() const {
  // Beside a tie: there is something to see.
  constexpr double kBeside_rad = rad_from_deg(5);
  const auto shows = [&](const RingPlace& place) {
    return std::any_of(ties.details.begin(), ties.details.end(), [&](const TieDetail& tie) {
      return tie.lens_a == place.lens_a && tie.lens_b == place.lens_b &&
             std::abs(std::remainder(tie.psi_rad - place.psi_rad, 2 * kPi)) < kBeside_rad;
    });
  };
  const RingPlace* worst = nullptr;
  for (const RingPlace& place : places) {
    if ((worst == nullptr || place.px() > worst->px()) && shows(place)) worst = &place;
  }
  return worst;
}

Result<RingCheck> check_ring(const RigTemplate& body, const Pictures& frames,
                             const TieOptions& options) {
  const Rig& rig = body.rig();
  const auto scale = template_scale(rig, frames.front(), "frames");
  if (!scale) return tl::unexpected(scale.error());
  auto ties = find_ties(frames, rig.scaled_to(frames[0].width(), frames[0].height()), 0, options);
  if (!ties) return tl::unexpected(ties.error());
  RingCheck ring;
  ring.ties = std::move(*ties);
  ring.matched = ring.ties.report.matched();
  ring.consistent = ring.ties.report.consistent();
  ring.readable = ring.ties.fit_together();
  if (!ring.readable) return ring;
  std::vector<Tie> in_template;
  for (const Tie& tie : ring.ties.ties) in_template.push_back(scaled_tie(tie, *scale));
  const SolutionQuality& quality = body.solution.quality;
  auto touched = touch(rig, body.solution.covariance, quality.flex_sigma_rad, in_template);
  if (!touched) return tl::unexpected(touched.error());
  ring.places = places_of(rig, *touched, *scale);
  ring.p95_px = p95_of(ring.places);
  double variance = 0;
  for (const RingPlace& place : ring.places) variance += place.sigma_px * place.sigma_px;
  if (!ring.places.empty()) {
    ring.sigma_px = std::sqrt(variance / static_cast<double>(ring.places.size()));
  }
  ring.expected_px =
      std::hypot(quality.expected_seam_parallax_px, quality.expected_seam_sideways_px,
                 quality.flex_sigma_rad * rig.peak_px_per_rad()) /
      *scale;
  ring.flex_deg = deg_from_rad(touched->flex_rad);
  ring.unseen_share = unseen_share(ring.ties.report, options.cells_psi);
  ring.contradicts_template = touched->contradicts_template;
  measure_left(*touched, *scale, ring);
  ring.touched = std::move(*touched);
  return ring;
}

}  // namespace seamwright
