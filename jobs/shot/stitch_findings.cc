#include "jobs/shot/stitch_findings.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <utility>

#include <fmt/format.h>

namespace seamwright {

namespace {

// One line for all of it.
void add_torn_finding(const SeamPlan& plan, const Quat& turn, double cover_deg,
                      std::vector<std::string>& findings) {
  constexpr int kNamed = 4;
  std::string places;
  int more = 0;
  for (const Vec3& levelled : torn_directions(plan)) {
    const Vec3 direction = turn.conjugate() * levelled;
    const bool covered = levelled.normalized().y() > std::cos(rad_from_deg(cover_deg));
    if (shows_stand(direction) || covered) continue;
    if (++more > kNamed) continue;
    const PanoramaPlace place = place_of(direction);
    places += fmt::format("{}longitude {:.0f}, latitude {:.0f}", places.empty() ? "" : "; ",
                          deg_from_rad(place.longitude_rad), deg_from_rad(place.latitude_rad));
  }
  if (more == 0) return;
  if (more > kNamed) places += fmt::format("; {} more", more - kNamed);
  findings.push_back(fmt::format("the joined picture is torn at {}; {}", places, kTornRemedy));
}

}  // namespace

bool shows_stand(const Vec3& direction) {
  static const double highest = std::cos(rad_from_deg(12));
  return direction.normalized().y() > highest;
}

CutWords cut_words(const PanoramaPlace& place, int lens_a, int lens_b) {
  return {fmt::format("something at longitude {:.0f}, latitude {:.0f} looks different to lenses {} "
                      "and {} and is cut by the seam",
                      deg_from_rad(place.longitude_rad), deg_from_rad(place.latitude_rad), lens_a,
                      lens_b),
          "look there, and say in the shot file which lens to take, or retouch from 'layers'"};
}

std::vector<Vec3> torn_directions(const SeamPlan& plan) {
  std::vector<std::pair<double, Vec3>> torn;
  for (const PairSeam& pair : plan.pairs) {
    for (const TornPlace& place : pair.torn) {
      torn.emplace_back(place.torn, pair.warp.grid.direction(place.middle_px));
    }
  }
  std::ranges::stable_sort(torn, std::greater(), [](const auto& at) { return at.first; });
  std::vector<Vec3> directions;
  for (const auto& [weight, direction] : torn) directions.push_back(direction);
  return directions;
}

void add_seam_findings(const SeamPlan& plan, const Quat& turn, double cover_deg,
                       std::vector<std::string>& findings, std::vector<std::string>& notes) {
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
      const Vec3 levelled = pair.warp.grid.direction(middle);
      const Vec3 direction = turn.conjugate() * levelled;
      const CutWords cut = cut_words(place_of(direction), pair.lens_a, pair.lens_b);
      const bool covered = levelled.normalized().y() > std::cos(rad_from_deg(cover_deg));
      if (shows_stand(direction) || covered) {
        notes.push_back(cut.words + ", at the stand");
      } else {
        findings.push_back(cut.words + "; " + cut.remedy);
      }
    }
  }
  add_torn_finding(plan, turn, cover_deg, findings);
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
