#include "jobs/shot/stitch_findings.h"

#include <fmt/format.h>

namespace seamwright {

void add_seam_findings(const SeamPlan& plan, const Quat& turn, std::vector<std::string>& findings) {
  for (const PairSeam& pair : plan.pairs) {
    const SeamPath& path = pair.path;
    if (path.forbidden_columns > 0) {
      findings.push_back(
          fmt::format("the seam of lenses {} and {} had to cross a place it was to keep off, over "
                      "{:.1f} degrees of its ring",
                      pair.lens_a, pair.lens_b,
                      deg_from_rad(path.forbidden_columns / pair.warp.grid.px_per_rad)));
    }
    for (const MovingSubject& subject : path.subjects) {
      if (subject.taken != TakenFrom::both) continue;
      const Vec2 middle(0.5 * (subject.left + subject.right), 0.5 * (subject.top + subject.bottom));
      const PanoramaPlace place = place_of(turn.conjugate() * pair.warp.grid.direction(middle));
      findings.push_back(fmt::format(
          "something at longitude {:.0f}, latitude {:.0f} looks different to lenses {} and {} and "
          "is cut by the seam: look there, and say in the shot file which lens to take",
          deg_from_rad(place.longitude_rad), deg_from_rad(place.latitude_rad), pair.lens_a,
          pair.lens_b));
    }
  }
}

std::vector<std::string> findings_of(const RenderReport& report, bool matched) {
  std::vector<std::string> findings;
  if (report.unseen_px > 0) {
    const double share = static_cast<double>(report.unseen_px) /
                         (static_cast<double>(report.width_px) * report.height_px);
    findings.push_back(
        fmt::format("{} pixels ({:.2f} %) are seen by no lens and stay black; the template's "
                    "fields of view leave a gap",
                    report.unseen_px, 100 * share));
  }
  if (matched && !report.gains.complete) {
    findings.emplace_back(
        "the lenses' brightness could not be compared everywhere: the overlap is too dark or "
        "clipped; expect a step at the seam");
  }
  return findings;
}

}  // namespace seamwright
