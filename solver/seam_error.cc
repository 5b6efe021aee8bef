#include "solver/seam_error.h"

#include <algorithm>
#include <cmath>
#include <optional>

namespace seamwright {

namespace {

struct SeenBy {
  Vec2 px_a;
  Vec2 px_b;
};

std::optional<SeenBy> seen_by(const Rig& rig, int a, int b, const Vec3& direction) {
  const auto px_a = rig.lenses[static_cast<std::size_t>(a)].project_direction(direction);
  const auto px_b = rig.lenses[static_cast<std::size_t>(b)].project_direction(direction);
  if (!px_a || !px_b) return std::nullopt;
  return SeenBy{*px_a, *px_b};
}

// True where a direction is at least `margin_rad` inside a lens' field of view. Nearer to its
// border a small change of the lens loses the direction, and a derivative there would be half a
// one.
bool well_inside(const MountedLens& mounted, const Vec3& direction, double margin_rad) {
  const Vec3 in_lens = mounted.rig_from_lens.conjugate() * direction;
  return angle_between(in_lens, Vec3::UnitZ()) <= mounted.lens.theta_max_rad - margin_rad;
}

// Small angle from lens b's direction to lens a's, in the ribbon's tangent frame, rad.
std::optional<Vec2> gap_rad(const Rig& rig, int a, int b, const SeenBy& seen,
                            const RibbonAxes& axes, const RibbonAngles& at) {
  const auto d_a = rig.lenses[static_cast<std::size_t>(a)].direction_in_rig(seen.px_a);
  const auto d_b = rig.lenses[static_cast<std::size_t>(b)].direction_in_rig(seen.px_b);
  if (!d_a || !d_b) return std::nullopt;
  const Vec3 gap = *d_a - *d_b;
  return Vec2(gap.dot(axes.parallax(at)), gap.dot(axes.sideways(at)));
}

}  // namespace

Result<SeamSummary> summarise(const std::vector<SeamSample>& samples) {
  if (samples.empty()) {
    return fail({.kind = ErrorKind::numeric,
                 .field = "lenses",
                 .what = "no two lenses see the same direction well inside their fields of view",
                 .remedy = "use a body whose lenses overlap by more than 2 degrees"});
  }
  SeamSummary summary;
  for (const SeamSample& sample : samples) {
    summary.parallax_rms_px += sample.parallax_px * sample.parallax_px;
    summary.sideways_rms_px += sample.sideways_px * sample.sideways_px;
    summary.max_px = std::max(summary.max_px, std::hypot(sample.parallax_px, sample.sideways_px));
  }
  const auto count = static_cast<double>(samples.size());
  summary.rms_px = std::sqrt((summary.parallax_rms_px + summary.sideways_rms_px) / count);
  summary.parallax_rms_px = std::sqrt(summary.parallax_rms_px / count);
  summary.sideways_rms_px = std::sqrt(summary.sideways_rms_px / count);
  return summary;
}

std::vector<RibbonAngles> seam_directions(const Rig& rig, int a, int b,
                                          const SeamSampling& sampling) {
  std::vector<RibbonAngles> directions;
  const auto overlap = overlap_of(rig, a, b, 100.0, sampling.margin_rad);
  if (!overlap) return directions;
  const RibbonGrid& grid = overlap->grid;
  for (int i = 0; i < sampling.azimuths; ++i) {
    for (int j = 0; j < sampling.colatitudes; ++j) {
      const RibbonAngles at{
          grid.psi_begin_rad + (i + 0.5) / sampling.azimuths * grid.width_px / grid.px_per_rad,
          grid.eta_begin_rad + (j + 0.5) / sampling.colatitudes * grid.height_px / grid.px_per_rad};
      const Vec3 direction = grid.axes.direction(at);
      const bool inside =
          well_inside(rig.lenses[static_cast<std::size_t>(a)], direction, sampling.margin_rad) &&
          well_inside(rig.lenses[static_cast<std::size_t>(b)], direction, sampling.margin_rad);
      if (inside && seen_by(rig, a, b, direction)) directions.push_back(at);
    }
  }
  return directions;
}

std::vector<SeamSample> seam_misalignment(const Rig& estimated, const Rig& truth, int a, int b,
                                          const SeamSampling& sampling) {
  return seam_misalignment(estimated, truth, a, b, seam_directions(truth, a, b, sampling));
}

std::vector<SeamSample> seam_misalignment(const Rig& estimated, const Rig& truth, int a, int b,
                                          const std::vector<RibbonAngles>& directions) {
  const RibbonAxes axes = RibbonAxes::of_pair(truth, a, b);
  const double px_per_rad = estimated.peak_px_per_rad();
  std::vector<SeamSample> samples;
  for (const RibbonAngles& at : directions) {
    const auto seen = seen_by(truth, a, b, axes.direction(at));
    if (!seen) continue;
    const auto gap = gap_rad(estimated, a, b, *seen, axes, at);
    if (gap) samples.push_back({at, px_per_rad * gap->x(), px_per_rad * gap->y()});
  }
  return samples;
}

Eigen::MatrixXd seam_jacobian(const Rig& rig, const SharedTerms& terms, int a, int b,
                              const std::vector<RibbonAngles>& directions) {
  const RibbonAxes axes = RibbonAxes::of_pair(rig, a, b);
  const double px_per_rad = rig.peak_px_per_rad();
  Eigen::MatrixXd jacobian =
      Eigen::MatrixXd::Zero(static_cast<Eigen::Index>(2 * directions.size()), terms.columns());
  for (int column = 0; column < terms.columns(); ++column) {
    const int slot = terms.slot_of(column);
    if (slot >= kPupilX) continue;  // a pupil does not matter at infinity
    const double h = slot == kFocal || slot == kCentreU || slot == kCentreV ? 1e-3 : 1e-6;
    Eigen::VectorXd step = Eigen::VectorXd::Zero(terms.columns());
    step[column] = h;
    const Rig more = terms.stepped(rig, step);
    const Rig less = terms.stepped(rig, -step);
    for (std::size_t i = 0; i < directions.size(); ++i) {
      const auto seen = seen_by(rig, a, b, axes.direction(directions[i]));
      if (!seen) continue;
      const auto gap_more = gap_rad(more, a, b, *seen, axes, directions[i]);
      const auto gap_less = gap_rad(less, a, b, *seen, axes, directions[i]);
      if (!gap_more || !gap_less) continue;
      jacobian.block<2, 1>(static_cast<Eigen::Index>(2 * i), column) =
          px_per_rad * (*gap_more - *gap_less) / (2 * h);
    }
  }
  return jacobian;
}

std::vector<SeamSample> expected_seam_error(const Rig& rig, const SharedTerms& terms,
                                            const Eigen::MatrixXd& covariance, int a, int b,
                                            const std::vector<RibbonAngles>& directions) {
  return expected_seam_error(seam_jacobian(rig, terms, a, b, directions), covariance, directions);
}

std::vector<SeamSample> expected_seam_error(const Eigen::MatrixXd& jacobian,
                                            const Eigen::MatrixXd& covariance,
                                            const std::vector<RibbonAngles>& directions) {
  const Eigen::VectorXd variance = (jacobian * covariance).cwiseProduct(jacobian).rowwise().sum();
  std::vector<SeamSample> samples;
  for (std::size_t i = 0; i < directions.size(); ++i) {
    const auto row = static_cast<Eigen::Index>(2 * i);
    samples.push_back({directions[i], std::sqrt(std::max(0.0, variance[row])),
                       std::sqrt(std::max(0.0, variance[row + 1]))});
  }
  return samples;
}

}  // namespace seamwright
