#include "apps/report/stand_map.h"

#include <algorithm>
#include <cmath>
#include <map>

#include <fmt/format.h>

#include "apps/report/chart.h"
#include "apps/report/markup.h"
#include "apps/report/svg.h"

namespace seamwright::report {

namespace {

Vec2 from_above(const Stand& stand) { return {stand.position_m.x(), stand.position_m.z()}; }

std::string stand_map(const std::vector<Stand>& stands) {
  constexpr double kWidth = 480;
  constexpr double kMargin = 46;
  Vec2 low = from_above(stands[0]);
  Vec2 high = low;
  for (const Stand& stand : stands) {
    low = low.cwiseMin(from_above(stand));
    high = high.cwiseMax(from_above(stand));
  }
  const double wide = std::max(0.2, high.x() - low.x());
  const Vec2 span(std::max(wide, 0.3 * (high.y() - low.y())),
                  std::max(0.4 * wide, high.y() - low.y()));
  const Vec2 corner = 0.5 * (low + high - span);
  // A long corridor must not become a tower.
  const double per_m = std::min((kWidth - 2 * kMargin) / span.x(), 1.2 * kWidth / span.y());
  const double height = span.y() * per_m + 2 * kMargin;
  const double left = (kWidth - span.x() * per_m) / 2;
  const auto at = [&](const Stand& stand) {
    return Vec2(left + (stand.position_m.x() - corner.x()) * per_m,
                height - kMargin - (stand.position_m.z() - corner.y()) * per_m);
  };
  const std::string told = fmt::format("{} stands seen from above, {:.1f} by {:.1f} metres",
                                       stands.size(), high.x() - low.x(), high.y() - low.y());
  Svg svg(kWidth, height + 24, told);
  for (const Stand& stand : stands) {
    const double heading = rad_from_deg(stand.heading_deg);
    const double sigma_m = std::hypot(stand.position_sigma_m.x(), stand.position_sigma_m.z());
    svg.circle(at(stand), std::max(9.0, 2 * sigma_m * per_m), "unsure");
    svg.line(at(stand), at(stand) + 20 * Vec2(std::sin(heading), -std::cos(heading)), "way");
    svg.circle(at(stand), 5, "stand");
    svg.text(at(stand) + Vec2(0, std::cos(heading) >= 0 ? 22 : -13), stand.shot, Anchor::middle,
             "small");
  }
  const double bar_m = round_step(span.maxCoeff(), 4);
  svg.line({12, height + 10}, {12 + bar_m * per_m, height + 10}, "s s0");
  svg.text({bar_m * per_m + 20, height + 15}, fmt::format("{:g} m", bar_m), Anchor::start);
  return figure(svg.markup(),
                told +
                    ". A stroke shows where lens 0 looked; the pale disc is two standard "
                    "deviations of the position.");
}

}  // namespace

std::string stand_map_figures(std::span<const Stand> stands) {
  std::map<int, std::vector<Stand>> networks;
  for (const Stand& stand : stands) {
    if (stand.network != kNoNetwork) networks[stand.network].push_back(stand);
  }
  std::string figures;
  for (const auto& [network, joined] : networks) {
    if (joined.size() >= 2) figures += stand_map(joined);
  }
  return figures;
}

}  // namespace seamwright::report
