#include "features/plumb_lines.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <iterator>
#include <optional>

#include "base/parallel.h"
#include "features/edge_arcs.h"
#include "features/even_spread.h"
#include "sampling/lens_view.h"

namespace seamwright {

namespace {

constexpr double kWidestAverage_px = 4;  // along the edge, to both sides

// A measured line and the arc that it follows.
struct LineCandidate {
  PlumbLine line{};
  GreatArc arc;
  double score = 0;
};

class LineFinder {
 public:
  LineFinder(const Image& plane, const MountedLens& mounted, int shot, int lens,
             const PlumbLineOptions& options)
      : view_(plane, mounted),
        lens_(view_.mounted.lens),
        noise_(white_noise(plane)),
        shot_(shot),
        lens_index_(lens),
        options_(options) {}

  std::vector<PlumbLine> find() const {
    const std::vector<EdgeChain> chains = find_edge_chains(view_, options_.chains);
    const std::vector<GreatArc> arcs =
        find_edge_arcs(chains, lens_,
                       {.px_per_rad = lens_.terms[kFocal],
                        .tolerance_px = options_.chain_tolerance_px,
                        .largest_curvature_per_rad = options_.largest_curvature_per_rad,
                        .largest_gap_rad = options_.largest_gap_rad,
                        .shortest = options_.chains.shortest,
                        .least_length_rad = options_.least_length_rad});
    std::vector<std::optional<LineCandidate>> measured(arcs.size());
    parallel_for(0, static_cast<int>(arcs.size()), [&](int i) {
      measured[static_cast<std::size_t>(i)] = measure(arcs[static_cast<std::size_t>(i)]);
    });
    return thinned(std::move(measured));
  }

 private:
  struct Place {
    PlumbPoint point;
    Vec3 direction;
  };

  [[nodiscard]] std::optional<LineCandidate> measure(const GreatArc& arc) const {
    std::vector<Place> places = cross(arc);
    std::optional<GreatArc> fit;
    constexpr int kTrims = 3;
    for (int trim = 0; trim <= kTrims; ++trim) {
      if (static_cast<int>(places.size()) < options_.least_points) return std::nullopt;
      fit = fitted(places);
      if (!fit) return std::nullopt;
      const double limit = 3 * scatter_px(places, *fit, 1.4826);
      const auto left = std::erase_if(places, [&](const Place& place) {
        return std::abs(off_px(place, *fit)) > std::max(limit, 0.05);
      });
      if (left == 0) break;
    }
    if (static_cast<int>(places.size()) < options_.least_points) return std::nullopt;
    fit = fitted(places);
    if (!fit || fit->length_rad() < options_.least_length_rad) return std::nullopt;
    if (fit->curvature() > options_.largest_curvature_per_rad) return std::nullopt;
    const double scatter = scatter_px(places, *fit, 1.4826);
    if (scatter > options_.largest_scatter_px) return std::nullopt;
    LineCandidate found{.line = {.shot = shot_, .lens = lens_index_}, .arc = *fit};
    found.line.points = evenly(places);
    found.score = fit->length_rad() / std::max(scatter, 0.05);
    return found;
  }

  // Crosses the edge all along an arc.
  [[nodiscard]] std::vector<Place> cross(const GreatArc& arc) const {
    const double length_px = arc.length_rad() * lens_.terms[kFocal];
    const double spacing_px =
        std::max(options_.spacing_px, length_px / (1.5 * options_.max_points));
    const int count = static_cast<int>(length_px / spacing_px);
    const double half_width_px = std::min(0.5 * spacing_px, kWidestAverage_px);
    std::vector<Place> places;
    for (int i = 0; i < count; ++i) {
      const double s = arc.from_rad + arc.length_rad() * (i + 0.5) / count;
      const Vec3 on_arc = arc.at(s);
      constexpr double kStep_rad = 1e-4;
      const auto px = lens_.project(on_arc);
      const auto ahead = lens_.project(arc.at(s + kStep_rad));
      const auto beside = lens_.project(on_arc + kStep_rad * arc.normal);
      if (!px || !ahead || !beside) continue;
      if (!view_.field.contains(*px, options_.chains.margin_px)) continue;
      // Perpendicular to the edge in the picture, towards the bright side.
      const Vec2 along = (*ahead - *px).normalized();
      Vec2 across(-along.y(), along.x());
      if (across.dot(*beside - *px) < 0) across = -across;
      const auto crossing =
          cross_edge(view_.plane(), *px, across, half_width_px, noise_, options_.profile);
      if (!crossing) continue;
      const Vec2 at = *px + crossing->offset_px * across;
      const auto direction = lens_.unproject(at);
      if (direction) places.push_back({{at, crossing->sigma_px}, *direction});
    }
    return places;
  }

  [[nodiscard]] std::optional<GreatArc> fitted(const std::vector<Place>& places) const {
    std::vector<Vec3> directions;
    std::vector<double> weights;
    for (const Place& place : places) {
      directions.push_back(place.direction);
      weights.push_back(1 / (place.point.sigma_px * place.point.sigma_px + 0.0025));
    }
    return GreatArc::fitted(directions, weights);
  }

  [[nodiscard]] double off_px(const Place& place, const GreatArc& arc) const {
    return arc.beside(place.direction) * lens_.terms[kFocal];
  }

  // Median deviation times `factor`.
  [[nodiscard]] double scatter_px(const std::vector<Place>& places, const GreatArc& arc,
                                  double factor) const {
    std::vector<double> off;
    for (const Place& place : places) off.push_back(std::abs(off_px(place, arc)));
    const auto middle = off.begin() + static_cast<std::ptrdiff_t>(off.size() / 2);
    std::nth_element(off.begin(), middle, off.end());
    return factor * *middle;
  }

  [[nodiscard]] std::vector<PlumbPoint> evenly(const std::vector<Place>& places) const {
    const std::size_t count =
        std::min(places.size(), static_cast<std::size_t>(options_.max_points));
    std::vector<PlumbPoint> points;
    for (std::size_t i = 0; i < count; ++i) {
      points.push_back(places[i * places.size() / count].point);
    }
    return points;
  }

  // Evenly over where lines are and how they run.
  [[nodiscard]] std::vector<PlumbLine> thinned(
      std::vector<std::optional<LineCandidate>> candidates) const {
    constexpr int kLineBands = 4;
    constexpr int kHeadings = 3;
    std::erase(candidates, std::nullopt);
    std::vector<SpreadItem> items;
    for (const auto& candidate : candidates) {
      const Vec3& middle = candidate->arc.middle;
      // Heading against the circle through the axis: 0 is radial.
      const Vec3 around = Vec3::UnitZ().cross(middle);
      const double cosine =
          std::abs(candidate->arc.ahead.dot(around)) / std::max(around.norm(), 1e-9);
      const int heading =
          std::clamp(static_cast<int>(std::acos(std::min(1.0, cosine)) / (kPi / 2) * kHeadings), 0,
                     kHeadings - 1);
      items.push_back({sphere_cell(middle, kLineBands) * kHeadings + heading, candidate->score});
    }
    std::vector<PlumbLine> lines;
    for (const int i : spread_evenly(items, options_.max_lines)) {
      lines.push_back(std::move(candidates[static_cast<std::size_t>(i)]->line));
    }
    return lines;
  }

  LensView view_;
  const Lens& lens_;
  double noise_;
  int shot_;
  int lens_index_;
  const PlumbLineOptions& options_;
};

}  // namespace

std::optional<Error> PlumbLineOptions::validate() const {
  const auto wrong = [](const char* field, const char* what) {
    return Error{.kind = ErrorKind::user_input,
                 .where = "PlumbLineOptions",
                 .field = field,
                 .what = what,
                 .remedy = {}};
  };
  if (max_lines < 1) return wrong("max_lines", "must be at least 1");
  if (least_points < 5) return wrong("least_points", "must be at least 5");
  if (max_points < least_points) return wrong("max_points", "must not be below least_points");
  if (!(least_length_rad > 0)) return wrong("least_length_rad", "must be above 0");
  if (!(spacing_px >= 1)) return wrong("spacing_px", "must be at least 1");
  return std::nullopt;
}

Result<std::vector<PlumbLine>> find_plumb_lines(const Pictures& frames, const Rig& rig, int shot,
                                                const PlumbLineOptions& options) {
  if (auto error = options.validate()) return fail(std::move(*error));
  if (auto error = rig.validate()) return fail(std::move(*error));
  if (auto error = frames_mismatch(frames, rig)) return fail(std::move(*error));
  std::vector<PlumbLine> lines;
  for (std::size_t lens = 0; lens < frames.size(); ++lens) {
    auto found = LineFinder(match_plane(frames[lens]), rig.lenses[lens], shot,
                            static_cast<int>(lens), options)
                     .find();
    std::move(found.begin(), found.end(), std::back_inserter(lines));
  }
  return lines;
}

}  // namespace seamwright
