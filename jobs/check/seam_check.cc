#include "jobs/check/seam_check.h"

#include <algorithm>
#include <cassert>
#include <cmath>

#include "compose/render/render.h"
#include "compose/seams/seam_residual.h"

namespace seamwright {

namespace {

// A patch is as large as 48 px of a ring of 4096, whatever the views' resolution.
constexpr double kPatch_rad = 2 * kPi * 48 / 4096;

SeamResidualOptions patches_of(const RibbonGrid& grid) {
  SeamResidualOptions options;
  const double px = kPatch_rad * grid.px_per_rad;
  options.patch_px = std::max(8, 2 * static_cast<int>(std::lround(px / 2)));
  options.spacing_px = options.patch_px / 2;
  options.reach_parallax_px = std::max(3, options.patch_px / 6);
  options.reach_sideways_px = std::max(2, options.patch_px / 12);
  options.flat_px = std::max(3.0, options.patch_px / 4.0);
  return options;
}

double p95_of_telling(const std::vector<SeamPlace>& places) {
  std::vector<double> sizes;
  for (const SeamPlace& place : places) {
    if (tells(place) && place.likeness >= kAlike) sizes.push_back(place.shows_px);
  }
  if (sizes.empty()) return 0;
  std::sort(sizes.begin(), sizes.end());
  return sizes[static_cast<std::size_t>(std::lround(0.95 * static_cast<double>(sizes.size() - 1)))];
}

}  // namespace

bool tells(const SeamPlace& place) {
  constexpr double kTellingContrast = 0.1;
  return place.contrast >= kTellingContrast && !shows_stand(place.direction);
}

Result<SeamCheck> check_seams(const Rig& rig, const SeamPlan& plan) {
  const double native_px_per_rad = native_width(rig) / (2 * kPi);
  SeamCheck check;
  int laid = 0;
  for (const PairSeam& pair : plan.pairs) {
    assert(pair.views);
    const RibbonGrid& grid = pair.warp.grid;
    const double scale = native_px_per_rad / grid.px_per_rad;
    const auto residual = seam_residual(*pair.views, pair.path, patches_of(grid));
    if (!residual) return tl::unexpected(residual.error());
    laid += residual->places;
    for (const SeamPatch& patch : residual->patches) {
      const Vec3 direction = grid.direction(patch.middle_px);
      check.places.push_back({.lens_a = pair.lens_a,
                              .lens_b = pair.lens_b,
                              .psi_rad = grid.axes.angles(direction).psi_rad,
                              .direction = direction,
                              .parallax_px = scale * patch.parallax_px,
                              .sideways_px = scale * patch.sideways_px,
                              .likeness = patch.likeness,
                              .contrast = patch.contrast,
                              .shows_px = scale * patch.shows_px});
    }
  }
  check.p95_px = p95_of_telling(check.places);
  if (laid > 0) check.plain_share = 1 - static_cast<double>(check.places.size()) / laid;
  return check;
}

}  // namespace seamwright
