#include <algorithm>
#include <cassert>
#include <cmath>
#include <utility>

#include "base/parallel.h"
#include "features/fringe.h"
#include "features/fringe_patch.h"
#include "sampling/spline_plane.h"

namespace seamwright {

namespace {

// Colours are sampled between pixels: a little blur first, alike for all, bounds their noise there.
constexpr double kFringeBlur_px = 0.6;
constexpr double kInnermost = 0.06;  // r̂; there is no radius to speak of in the middle
constexpr int kTriesPerPatch = 3;

struct PatchCandidate {
  Vec2 px;
  double score = 0;
};

// Cells of the field, candidates of each with the most texture along the radius first.
class Field {
 public:
  Field(const LightPlanes& planes, const SplinePlane& green, const Lens& lens,
        const FringeOptions& options)
      : planes_(planes),
        green_(green),
        centre_(lens.centre_px()),
        rim_px_(lens.rim_radius_px()),
        options_(options),
        search_px_(std::max(2, static_cast<int>(std::ceil(options.search_share * rim_px_)))) {}

  [[nodiscard]] int cells() const { return options_.rings * options_.sectors; }
  [[nodiscard]] int search_px() const { return search_px_; }
  // Half the window on its diagonal, the search, and what the blur and the spline reach.
  [[nodiscard]] int reach_px() const {
    return static_cast<int>(std::ceil(0.71 * options_.window)) + search_px_ + 3;
  }
  [[nodiscard]] Vec2 along(const Vec2& px) const { return (px - centre_).normalized(); }
  [[nodiscard]] double radius_px(const Vec2& px) const { return (px - centre_).norm(); }

  [[nodiscard]] std::vector<PatchCandidate> candidates(int cell) const {
    const int ring = cell / options_.sectors;
    const int sector = cell % options_.sectors;
    const double inner = kInnermost * rim_px_;
    // The patch itself must lie within the field, along the radius.
    const int half = options_.window / 2;
    const double outer = rim_px_ - half - search_px_ - 2;
    if (outer <= inner) return {};
    const double depth_px = (outer - inner) / options_.rings;
    const double step_px = 0.5 * options_.window;
    std::vector<PatchCandidate> found;
    const int rows = std::max(1, static_cast<int>(depth_px / step_px));
    for (int row = 0; row < rows; ++row) {
      const double radius = inner + depth_px * (ring + (row + 0.5) / rows);
      const double arc_px = 2 * kPi * radius / options_.sectors;
      const int columns = std::max(1, static_cast<int>(arc_px / step_px));
      for (int column = 0; column < columns; ++column) {
        const double azimuth = 2 * kPi * (sector + (column + 0.5) / columns) / options_.sectors;
        const Vec2 px = centre_ + radius * Vec2(std::cos(azimuth), std::sin(azimuth));
        const double score = texture(px);
        if (score > 0) found.push_back({px, score});
      }
    }
    std::stable_sort(
        found.begin(), found.end(),
        [](const PatchCandidate& a, const PatchCandidate& b) { return a.score > b.score; });
    return found;
  }

 private:
  // Squared slope along the radius over the light, as photon noise has it; 0 at the frame's border.
  [[nodiscard]] double texture(const Vec2& px) const {
    const int reach = reach_px();
    if (px.x() < reach || px.y() < reach || px.x() > planes_.width() - reach ||
        px.y() > planes_.height() - reach) {
      return 0;
    }
    const Vec2 outwards = along(px);
    const Vec2 across(-outwards.y(), outwards.x());
    const double step = options_.window / 7.0;
    double slope2 = 0;
    double level = 0;
    for (int i = -2; i <= 2; ++i) {
      for (int j = -2; j <= 2; ++j) {
        const Vec2 at = px + step * (i * outwards + j * across);
        const SplinePlane::Sample sample = green_.sample(at.x(), at.y());
        const double slope = Vec2(sample.du, sample.dv).dot(outwards);
        slope2 += slope * slope;
        level += static_cast<double>(sample.value);
      }
    }
    return level > 0 ? slope2 / level : 0;
  }

  const LightPlanes& planes_;
  const SplinePlane& green_;
  Vec2 centre_;
  double rim_px_;
  const FringeOptions& options_;
  int search_px_;
};

}  // namespace

FringeSamples measure_fringes(const LightPlanes& planes, const Lens& lens,
                              const FringeOptions& options) {
  if (planes.colours.size() < 3) return {};
  assert(planes.width() == lens.width_px && planes.height() == lens.height_px);
  const SplinePlane red(planes.colours[0], kFringeBlur_px);
  const SplinePlane green(planes.colours[1], kFringeBlur_px);
  const SplinePlane blue(planes.colours[2], kFringeBlur_px);
  const Field field(planes, green, lens, options);
  std::vector<FringeSamples> cells(static_cast<std::size_t>(field.cells()));
  parallel_for(0, field.cells(), [&](int cell) {
    FringeSamples& found = cells[static_cast<std::size_t>(cell)];
    int tries = kTriesPerPatch * options.per_cell;
    std::vector<Vec2> taken;
    for (const PatchCandidate& candidate : field.candidates(cell)) {
      if (static_cast<int>(taken.size()) == options.per_cell || tries-- == 0) break;
      const auto near = [&](const Vec2& other) {
        return (other - candidate.px).norm() < options.window;
      };
      if (std::any_of(taken.begin(), taken.end(), near)) continue;
      if (!planes.whole(candidate.px, field.reach_px())) continue;
      const auto patch =
          FringePatch::at(green, candidate.px, field.along(candidate.px), options.window);
      if (!patch) continue;
      bool any = false;
      for (const auto& [plane, samples] :
           {std::pair(&red, &found.red), std::pair(&blue, &found.blue)}) {
        auto sample = patch->align(*plane, field.search_px(), options.min_correlation);
        if (!sample || sample->sigma_px > options.max_sigma_px) continue;
        sample->radius_px = field.radius_px(sample->px);
        samples->push_back(*sample);
        any = true;
      }
      if (any) taken.push_back(candidate.px);
    }
  });
  FringeSamples all;
  for (const FringeSamples& cell : cells) {
    all.red.insert(all.red.end(), cell.red.begin(), cell.red.end());
    all.blue.insert(all.blue.end(), cell.blue.begin(), cell.blue.end());
  }
  return all;
}

}  // namespace seamwright
