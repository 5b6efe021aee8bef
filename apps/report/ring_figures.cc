#include "apps/report/ring_figures.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>

#include <fmt/format.h>

#include "apps/report/chart.h"
#include "apps/report/markup.h"
#include "apps/report/svg.h"
#include "solver/seam_error.h"

namespace seamwright::report {

namespace {

constexpr int kSectors = 36;

template <class Call>
void for_each_pair(const Rig& rig, const Call& call) {
  for (int a = 0; a < rig.lens_count(); ++a) {
    for (int b = a + 1; b < rig.lens_count(); ++b) {
      if (overlap_of(rig, a, b, 100)) call(a, b);
    }
  }
}

// Where two lenses of the tie's own shot see it; −1 where one does not.
bool seen_by_pair(const Tie& tie, int a, int b) {
  const auto seen = [&](int lens) {
    return std::any_of(tie.sights.begin(), tie.sights.end(), [&](const TieSight& sight) {
      return sight.lens == lens && tie.shot_of(sight) == tie.shot;
    });
  };
  return seen(a) && seen(b);
}

std::string seam_figure(const LearnOutcome& outcome, int a, int b) {
  const LearnRigResult& solve = outcome.solve;
  const Rig& rig = outcome.rig_template.rig();
  const auto directions = seam_directions(rig, a, b, {.azimuths = 72});
  if (directions.empty()) return {};
  std::map<double, std::array<double, 3>> by_azimuth;  // Σ parallax², Σ sideways², count
  for (const SeamSample& sample :
       expected_seam_error(rig, solve.terms, solve.solution.covariance.values, a, b, directions)) {
    auto& sums = by_azimuth[sample.at.psi_rad];
    sums[0] += sample.parallax_px * sample.parallax_px;
    sums[1] += sample.sideways_px * sample.sideways_px;
    sums[2] += 1;
  }
  Series parallax{.name = "parallax", .look = 0, .points = {}};
  Series sideways{.name = "sideways", .look = 1, .points = {}};
  double highest = 0;
  double worst_deg = 0;
  for (const auto& [psi, sums] : by_azimuth) {
    parallax.points.emplace_back(deg_from_rad(psi), std::sqrt(sums[0] / sums[2]));
    sideways.points.emplace_back(deg_from_rad(psi), std::sqrt(sums[1] / sums[2]));
    const double larger = std::max(parallax.points.back().second, sideways.points.back().second);
    if (larger > highest) worst_deg = deg_from_rad(psi);
    highest = std::max(highest, larger);
  }
  const double step = round_step(1.1 * highest, 5);
  const std::string told = fmt::format(
      "Lenses {} and {}: expected seam error over azimuth, largest {:.2f} pixels at {:.0f} degrees",
      a, b, highest, worst_deg);
  return figure(
      line_chart(
          told, {.label = "azimuth around the ring, degrees", .low = -180, .high = 180, .tick = 90},
          {.label = "px, 1 sigma",
           .low = 0,
           .high = std::max(step, std::ceil(1.05 * highest / step) * step)},
          {parallax, sideways}),
      told +
          ". Parallax: like a wrong distance, which a near object shows as well. Sideways: never "
          "forgiven by the eye.");
}

using Coverage = std::vector<std::array<int, kSectors>>;

Coverage coverage_of(const LearnOutcome& outcome, int a, int b) {
  Coverage counts(outcome.shots.size());
  const RibbonAxes axes = RibbonAxes::of_pair(outcome.rig_template.rig(), a, b);
  for (std::size_t i = 0; i < outcome.ties.size(); ++i) {
    const Tie& tie = outcome.ties[i];
    if (outcome.solve.inlier[i] == 0 || !seen_by_pair(tie, a, b)) continue;
    const double turn = axes.angles(outcome.solve.points[i].direction).psi_rad / (2 * kPi) + 0.5;
    const int sector = std::clamp(static_cast<int>(turn * kSectors), 0, kSectors - 1);
    ++counts[static_cast<std::size_t>(tie.shot)][static_cast<std::size_t>(sector)];
  }
  return counts;
}

std::string shortened(const std::string& name) {
  constexpr std::size_t kMost = 16;
  return name.size() <= kMost ? name : name.substr(0, kMost - 1) + "…";
}

std::string coverage_figure(const LearnOutcome& outcome, int a, int b) {
  const Coverage counts = coverage_of(outcome, a, b);
  constexpr double kLeft = 112;
  constexpr double kCell = 10;
  constexpr double kRow = 19;
  const double height = kRow * static_cast<double>(counts.size());
  int empty = 0;
  for (const auto& row : counts) {
    empty += static_cast<int>(std::count(row.begin(), row.end(), 0));
  }
  const std::string told =
      fmt::format("Lenses {} and {}: ties by azimuth and shot, {} of {} sectors without any", a, b,
                  empty, kSectors * static_cast<int>(counts.size()));
  Svg svg(480, height + 50, told);
  for (std::size_t shot = 0; shot < counts.size(); ++shot) {
    const double y = kRow * static_cast<double>(shot);
    svg.text({kLeft - 6, y + 14}, shortened(outcome.shots[shot].name), Anchor::end, "small");
    for (int sector = 0; sector < kSectors; ++sector) {
      const int count = counts[shot][static_cast<std::size_t>(sector)];
      const Vec2 corner(kLeft + kCell * sector, y + 1);
      const Vec2 size(kCell - 1, kRow - 2);
      if (count == 0) {
        svg.rect(corner, size, "none");
      } else {
        svg.coloured_rect(corner, size, viridis(std::log2(1.0 + count) / std::log2(33.0)));
      }
    }
  }
  for (const int degrees : {-180, -90, 0, 90, 180}) {
    const double x = kLeft + kCell * kSectors * (degrees + 180) / 360.0;
    svg.line({x, height}, {x, height + 5}, "x");
    svg.text({std::min(x, 466.0), height + 19}, std::to_string(degrees));
  }
  svg.text({kLeft + kCell * kSectors / 2, height + 40}, "azimuth around the ring, degrees");
  return figure(svg.markup(),
                told +
                    ". Grey: none. Dark to yellow: 1, 3, 7, 15, 31 and more. Ties were looked "
                    "for everywhere; plain walls have little to hold on to.");
}

}  // namespace

std::string seam_figures(const LearnOutcome& outcome) {
  std::string figures;
  if (outcome.solve.solution.covariance.empty()) return figures;
  for_each_pair(outcome.rig_template.rig(),
                [&](int a, int b) { figures += seam_figure(outcome, a, b); });
  return figures;
}

std::string coverage_figures(const LearnOutcome& outcome) {
  std::string figures;
  for_each_pair(outcome.rig_template.rig(),
                [&](int a, int b) { figures += coverage_figure(outcome, a, b); });
  return figures;
}

std::string depth_figure(const LearnOutcome& outcome) {
  constexpr std::array<double, 10> kEdges = {0.5, 0.75, 1, 1.5, 2, 3, 5, 8, 15, 30};
  std::vector<Bar> bars(kEdges.size() + 1);
  const bool metric = outcome.rig_template.rig().metric;
  const double scale = metric ? 1 : 30;  // of a baseline
  for (std::size_t i = 0; i <= kEdges.size(); ++i) {
    bars[i].label = i == 0               ? fmt::format("<{:g}", scale * kEdges[0])
                    : i == kEdges.size() ? fmt::format(">{:g}", scale * kEdges.back())
                                         : fmt::format("{:g}", scale * kEdges[i]);
  }
  int near = 0;
  int all = 0;
  for (std::size_t i = 0; i < outcome.ties.size(); ++i) {
    if (outcome.solve.inlier[i] == 0) continue;
    const double inverse = outcome.solve.points[i].inverse_depth;
    const double depth = inverse > 0 ? 1 / inverse : std::numeric_limits<double>::infinity();
    const auto at = std::upper_bound(kEdges.begin(), kEdges.end(), depth / scale);
    bars[static_cast<std::size_t>(at - kEdges.begin())].value += 1;
    ++all;
    if (depth / scale < 1.5) ++near;
  }
  const std::string unit = metric ? "m" : "baselines";
  const std::string told = fmt::format("{} ties by distance, {:.0f} % nearer than {:g} {}", all,
                                       all > 0 ? 100.0 * near / all : 0, 1.5 * scale, unit);
  return figure(bar_chart(told, fmt::format("distance, up to … {}", unit), "ties", bars),
                told +
                    ". Distances come from the ties themselves; far ones are known only roughly. "
                    "Things beyond 15 m are what pins the lenses' angles down.");
}

}  // namespace seamwright::report
