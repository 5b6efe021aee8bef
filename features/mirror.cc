#include "features/mirror.h"

#include <cmath>
#include <vector>

#include "imaging/orient.h"
#include "projection/ribbon.h"

namespace seamwright {

namespace {

constexpr double kClearShare = 1.5;  // of ties, before counts alone decide
constexpr double kClearRms = 1.5;    // of misalignment, when counts do not

Vec2 flipped(const Vec2& px, const Lens& lens) { return {lens.width_px - px.x(), px.y()}; }

// Sum of squared gaps, px², and their number, over the overlap of one pair: what the rig makes of
// the pixels that its own reflection would give.
void add_asymmetry(const Rig& rig, int a, int b, double& sum, int& count) {
  const auto overlap = overlap_of(rig, a, b, 20.0, rad_from_deg(1));
  if (!overlap) return;
  const MountedLens& lens_a = rig.lenses[static_cast<std::size_t>(a)];
  const MountedLens& lens_b = rig.lenses[static_cast<std::size_t>(b)];
  for (int y = 0; y < overlap->grid.height_px; ++y) {
    for (int x = 0; x < overlap->grid.width_px; ++x) {
      const Vec3 direction = overlap->grid.direction({x + 0.5, y + 0.5});
      const auto px_a = lens_a.project_direction(direction);
      const auto px_b = lens_b.project_direction(direction);
      if (!px_a || !px_b) continue;
      const auto d_a = lens_a.direction_in_rig(flipped(*px_a, lens_a.lens));
      const auto d_b = lens_b.direction_in_rig(flipped(*px_b, lens_b.lens));
      if (!d_a || !d_b) continue;
      sum += std::pow(angle_between(*d_a, *d_b) * rig.peak_px_per_rad(), 2);
      ++count;
    }
  }
}

double asymmetry_px(const Rig& rig) {
  double sum = 0;
  int count = 0;
  for (int a = 0; a < rig.lens_count(); ++a) {
    for (int b = a + 1; b < rig.lens_count(); ++b) add_asymmetry(rig, a, b, sum, count);
  }
  return count > 0 ? std::sqrt(sum / count) : 0;
}

// Ties that the rig as it stands explains, and how well.
Result<MirrorScore> score(const Pictures& frames, const Rig& rig, TieOptions options) {
  options.consensus.largest_focal_change = 0;
  const auto set = find_ties(frames, rig, 0, options);
  if (!set) return fail(set.error());
  MirrorScore score;
  double sum = 0;
  for (const TieDetail& detail : set->details) {
    if (detail.edge) continue;
    ++score.ties;
    sum += detail.sideways_rad * detail.sideways_rad;
  }
  if (score.ties > 0) score.sideways_rms_px = std::sqrt(sum / score.ties) * rig.peak_px_per_rad();
  return score;
}

MirrorVerdict verdict_of(const MirrorReport& report) {
  const int as_is = report.as_is.ties;
  const int flipped = report.flipped.ties;
  if (as_is > kClearShare * flipped + 8) return MirrorVerdict::as_is;
  if (flipped > kClearShare * as_is + 8) return MirrorVerdict::mirrored;
  const double better = std::min(report.as_is.sideways_rms_px, report.flipped.sideways_rms_px);
  if (as_is < 8 || flipped < 8 || report.asymmetry_px < 2 * better) {
    return MirrorVerdict::undecided;
  }
  if (report.flipped.sideways_rms_px > kClearRms * report.as_is.sideways_rms_px) {
    return MirrorVerdict::as_is;
  }
  if (report.as_is.sideways_rms_px > kClearRms * report.flipped.sideways_rms_px) {
    return MirrorVerdict::mirrored;
  }
  return MirrorVerdict::undecided;
}

}  // namespace

Result<MirrorReport> recognise_mirroring(const Pictures& frames, const Rig& rig,
                                         const TieOptions& options) {
  MirrorReport report;
  report.asymmetry_px = asymmetry_px(rig);
  const auto as_is = score(frames, rig, options);
  if (!as_is) return fail(as_is.error());
  report.as_is = *as_is;
  std::vector<Image> turned;
  for (const Image& frame : frames) turned.push_back(mirror_left_right(frame));
  const auto other = score(turned, rig, options);
  if (!other) return fail(other.error());
  report.flipped = *other;
  report.verdict = verdict_of(report);
  return report;
}

Rig mirrored(const Rig& rig) {
  Rig reflected = rig;
  for (MountedLens& mounted : reflected.lenses) {
    // M R M with M = diag(−1, 1, 1): rotation vectors (x, y, z) become (x, −y, −z).
    const Quat& q = mounted.rig_from_lens;
    mounted.rig_from_lens = Quat(q.w(), q.x(), -q.y(), -q.z());
    mounted.pupil.x() = -mounted.pupil.x();
    Lens& lens = mounted.lens;
    lens.terms[kCentreU] = lens.width_px - lens.terms[kCentreU];
    lens.terms[kShear] = -lens.terms[kShear];
    lens.terms[kDecentreU] = -lens.terms[kDecentreU];
  }
  return reflected;
}

}  // namespace seamwright
