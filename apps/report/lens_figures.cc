#include "apps/report/lens_figures.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "apps/report/chart.h"
#include "apps/report/markup.h"
#include "apps/report/svg.h"

namespace seamwright::report {

namespace {

constexpr double kMapSide = 480;
constexpr std::size_t kMostArrows = 700;  // more become a carpet
constexpr double kTypicalArrow = 0.04;    // of the map's side, for the 90th percentile

struct Miss {
  Vec2 px;
  Vec2 residual_px;
};

std::vector<Miss> misses_of(const LearnOutcome& outcome, int lens) {
  std::vector<Miss> misses;
  const LearnRigResult& solve = outcome.solve;
  for (std::size_t i = 0; i < outcome.ties.size(); ++i) {
    if (solve.inlier[i] == 0) continue;
    const Tie& tie = outcome.ties[i];
    for (std::size_t j = 0; j < tie.sights.size(); ++j) {
      if (tie.sights[j].lens != lens) continue;
      const auto residual =
          sight_residual_px(solve.solution.rig, tie, j, solve.points[i], solve.shots);
      if (residual) misses.push_back({tie.sights[j].px, *residual});
    }
  }
  return misses;
}

// Every k-th, so that all shots keep their share.
std::vector<Miss> thinned(const std::vector<Miss>& all) {
  std::vector<Miss> kept;
  const std::size_t stride = (all.size() + kMostArrows - 1) / kMostArrows;
  for (std::size_t i = 0; i < all.size(); i += std::max<std::size_t>(1, stride)) {
    kept.push_back(all[i]);
  }
  return kept;
}

double typical_px(const std::vector<Miss>& misses) {
  std::vector<double> sizes;
  for (const Miss& miss : misses) sizes.push_back(miss.residual_px.norm());
  if (sizes.empty()) return 1;
  const auto at = sizes.begin() + static_cast<std::ptrdiff_t>((sizes.size() - 1) * 9 / 10);
  std::nth_element(sizes.begin(), at, sizes.end());
  return std::max(*at, 1e-6);
}

void draw_arrow(Svg& svg, const Vec2& from, const Vec2& along, const std::string& colour) {
  const Vec2 to = from + along;
  svg.coloured_line(from, to, colour);
  if (along.norm() < 3) return;
  const Vec2 back = -along.normalized() * std::min(4.0, 0.4 * along.norm());
  const Vec2 side(-back.y(), back.x());
  svg.coloured_line(to, to + back + 0.6 * side, colour);
  svg.coloured_line(to, to + back - 0.6 * side, colour);
}

double shift_px(const FringeTerms& terms, double r_hat, double rim_px) {
  return rim_px * r_hat * (terms.scale(r_hat) - 1);
}

}  // namespace

std::string residual_figure(const LearnOutcome& outcome, int lens) {
  const Lens& model = outcome.rig_template.rig().lenses[static_cast<std::size_t>(lens)].lens;
  const std::vector<Miss> all = misses_of(outcome, lens);
  const double per_px = kMapSide / std::max(model.width_px, model.height_px);
  const double typical = typical_px(all);
  // The largest round factor that keeps most arrows short.
  const double wanted = kTypicalArrow * kMapSide / (typical * per_px);
  double factor = round_step(wanted, 1);
  while (factor > wanted) factor = round_step(factor / 2.6, 1);
  const Vec2 size = per_px * Vec2(model.width_px, model.height_px);
  const std::string told =
      fmt::format("Lens {}: {} tie positions with their residuals, 9 in 10 below {:.2f} pixels",
                  lens, all.size(), typical);
  Svg svg(size.x(), size.y() + 26, told);
  svg.circle(per_px * model.centre_px(), per_px * model.rim_radius_px(), "disc");
  for (const double share : {1.0 / 3, 2.0 / 3}) {
    svg.circle(per_px * model.centre_px(), share * per_px * model.rim_radius_px(), "ring");
  }
  for (const Miss& miss : thinned(all)) {
    // From a third up: the map's darkest colours would vanish on the disc.
    const double bright = 0.35 + 0.65 * std::min(1.0, miss.residual_px.norm() / (1.5 * typical));
    draw_arrow(svg, per_px * miss.px, factor * per_px * miss.residual_px, viridis(bright));
  }
  const double bar_px = round_step(typical * 2, 1);
  const double bar = bar_px * per_px * factor;
  svg.line({8, size.y() + 14}, {8 + bar, size.y() + 14}, "s s0");
  svg.text({bar + 18, size.y() + 19}, fmt::format("{:g} px", bar_px), Anchor::start);
  return figure(
      "<div class=\"arrows\">\n" + svg.markup() + "</div>\n",
      fmt::format("Lens {}: residuals at {} places, drawn {:g} times their size{}. No "
                  "pattern is what is wanted: arrows that turn or point one way together "
                  "would be an error of the lens model.",
                  lens, all.size(), factor, all.size() > kMostArrows ? ", a part of them" : ""));
}

std::string fringe_figure(const LearnOutcome& outcome, int lens) {
  const auto index = static_cast<std::size_t>(lens);
  const Lens& model = outcome.rig_template.rig().lenses[index].lens;
  const double rim_px = model.rim_radius_px();
  Series red{.name = "red", .look = 2, .points = {}};
  Series blue{.name = "blue", .look = 3, .points = {}};
  double highest = 0.05;
  constexpr int kSteps = 50;
  for (int i = 0; i <= kSteps; ++i) {
    const double r_hat = static_cast<double>(i) / kSteps;
    red.points.emplace_back(100 * r_hat, shift_px(model.red, r_hat, rim_px));
    blue.points.emplace_back(100 * r_hat, shift_px(model.blue, r_hat, rim_px));
    if (index < outcome.colour.fringes.size()) {
      red.sigma.push_back(outcome.colour.fringes[index].red.sigma_px(r_hat, rim_px));
      blue.sigma.push_back(outcome.colour.fringes[index].blue.sigma_px(r_hat, rim_px));
    }
    highest = std::max(
        {highest, std::abs(red.points.back().second), std::abs(blue.points.back().second)});
  }
  const double step = round_step(1.1 * highest, 3);
  const double limit = std::ceil(1.05 * highest / step) * step;
  const std::string told =
      fmt::format("Lens {}: at the rim red lies {:+.2f} pixels and blue {:+.2f} pixels from green",
                  lens, red.points.back().second, blue.points.back().second);
  std::string caption = told + ", outwards positive.";
  if (index < outcome.colour.fringes.size()) {
    const LensFringes& fits = outcome.colour.fringes[index];
    caption += fmt::format(
        " From {} and {} patches; sure to {:.3f} and {:.3f} px there. stitch takes it out.",
        fits.red.patches, fits.blue.patches, fits.red.sigma_px(1, rim_px),
        fits.blue.sigma_px(1, rim_px));
  }
  return figure(
      line_chart(told, {.label = "distance from the lens' centre, % of the rim", .high = 100},
                 {.label = fmt::format("lens {}: px from green", lens),
                  .low = -limit,
                  .high = limit,
                  .tick = step},
                 {red, blue}),
      caption);
}

std::string vignetting_figure(const LearnOutcome& outcome) {
  std::vector<Series> series;
  double lowest = 100;
  std::string told = "Brightness at the rim, of that in the middle:";
  const auto& lenses = outcome.rig_template.rig().lenses;
  const std::vector<LensPhotometry>& found = outcome.colour.photometry.lenses;
  const bool learned = !found.empty() && std::all_of(found.begin(), found.end(),
                                                     [](const auto& l) { return l.learned; });
  for (std::size_t i = 0; i < lenses.size(); ++i) {
    Series one{.name = fmt::format("lens {}", i), .look = static_cast<int>(i % 4), .points = {}};
    for (int percent = 0; percent <= 100; percent += 2) {
      one.points.emplace_back(percent, 100 * lenses[i].lens.vignetting.gain(percent / 100.0));
      lowest = std::min(lowest, one.points.back().second);
    }
    told += fmt::format("{} lens {} {:.1f} %", i == 0 ? "" : ",", i, one.points.back().second);
    series.push_back(std::move(one));
  }
  std::string caption = told + ".";
  if (learned) {
    double sigma = 0;
    for (const LensPhotometry& lens : found) sigma = std::max(sigma, lens.rim_sigma);
    caption += fmt::format(
        " From {} points seen at several distances from a centre; sure to {:.1f} "
        "% there.",
        outcome.colour.photometry.points, 100 * sigma);
  } else {
    caption += " Not learned from these shots: this is what the start said.";
  }
  for (std::size_t i = 1; i < found.size() && outcome.colour.photometry.points > 0; ++i) {
    const double green_ev = outcome.colour.photometry.gain_ev[i][1];
    caption += fmt::format(" Lens {} gives {:+.2f} EV against lens 0.", i, green_ev);
  }
  return figure(
      line_chart(told, {.label = "distance from the lens' centre, % of the rim", .high = 100},
                 {.label = "brightness, %",
                  .low = std::max(0.0, std::floor(lowest / 10 - 0.2) * 10),
                  .high = 100},
                 series),
      caption);
}

}  // namespace seamwright::report
