#include "solver/line_fit.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "solver/plumb_sight.h"

namespace seamwright {

namespace {

constexpr std::size_t kBatch = 5;     // points
constexpr double kCommonBatches = 6;  // weight of the noise that all lines share

}  // namespace

LineEvidence::LineEvidence(std::span<const PlumbLine> lines)
    : claimed_(lines.begin(), lines.end()), used_(claimed_) {}

// χ² of the batches' means, against the claimed noise.
TieMisfit LineEvidence::fit_of(std::size_t used, const Rig& rig, const Vec3& normal) const {
  const PlumbLine& line = claimed_[used];
  const Lens& lens = rig.lenses[static_cast<std::size_t>(line.lens)].lens;
  const std::vector<double> residuals = plumb_residuals_px(lens, line, normal);
  TieMisfit fit{.freedom = -2};
  double sum = 0;
  std::size_t count = 0;
  for (std::size_t i = 0; i < residuals.size(); ++i) {
    if (std::isfinite(residuals[i])) {
      sum += residuals[i] / line.points[i].sigma_px;
      ++count;
    }
    if (count < kBatch && (i + 1 < residuals.size() || count < 3)) continue;
    fit.chi2 += sum * sum / static_cast<double>(count);
    ++fit.freedom;
    sum = 0;
    count = 0;
  }
  fit.counted = fit.freedom > 0;
  fit.freedom = std::max(1, fit.freedom);
  return fit;
}

std::vector<TieMisfit> LineEvidence::fits_of_all(const Rig& rig,
                                                 const std::vector<Vec3>& normals) const {
  std::vector<TieMisfit> fits;
  for (std::size_t i = 0; i < used_.size(); ++i) fits.push_back(fit_of(i, rig, normals[i]));
  return fits;
}

void LineEvidence::judge(const Rig& rig, const std::vector<Vec3>& normals, double reject_sigmas) {
  const std::vector<TieMisfit> fits = fits_of_all(rig, normals);
  const double common = std::max(1.0, noise_ratio(fits, [](std::size_t) { return true; }));
  std::vector<PlumbLine> claimed;
  std::vector<PlumbLine> used;
  for (std::size_t i = 0; i < used_.size(); ++i) {
    if (!is_inlier(fits[i], reject_sigmas, common)) {
      ++rejected_;
      continue;
    }
    const double variance = (kCommonBatches * common * common + fits[i].chi2) /
                            (kCommonBatches + static_cast<double>(fits[i].freedom));
    used.push_back(claimed_[i]);
    for (PlumbPoint& point : used.back().points) {
      point.sigma_px *= std::sqrt(std::max(1.0, variance));
    }
    claimed.push_back(std::move(claimed_[i]));
  }
  claimed_ = std::move(claimed);
  used_ = std::move(used);
}

LineQuality LineEvidence::quality(const Rig& rig, const std::vector<Vec3>& normals) const {
  LineQuality quality{.used = static_cast<int>(used_.size()), .rejected = rejected_};
  if (used_.empty()) return quality;
  double sum = 0;
  double count = 0;
  for (std::size_t i = 0; i < used_.size(); ++i) {
    const Lens& lens = rig.lenses[static_cast<std::size_t>(used_[i].lens)].lens;
    for (const double r : plumb_residuals_px(lens, used_[i], normals[i])) {
      if (!std::isfinite(r)) continue;
      sum += r * r;
      count += 1;
    }
  }
  quality.rms_px = count > 0 ? std::sqrt(sum / count) : 0;
  quality.spread = noise_ratio(fits_of_all(rig, normals), [](std::size_t) { return true; });
  return quality;
}

}  // namespace seamwright
