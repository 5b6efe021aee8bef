// How well `check` finds what is wrong, on the demo's rooms (run by hand):
//
//   study_check DEMO_DIR body.template.yaml COUNT [csv]
//
// COUNT seeded shots, half of them with one defect. Prints a table by defect, precision and recall
// of "something is wrong" on the first and on the second half of the shots (thresholds may be
// chosen by the first only), and the correlation of the misalignment found with the true one, P95
// over the ring. A knock counts as a defect where it truly moves the seam by more than twice what
// check calls visible, as none where by less than half of that, else the shot is not counted.

#include <cmath>
#include <cstdio>
#include <map>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "apps/demo/demo.h"
#include "apps/demo/shots.h"
#include "base/file.h"
#include "jobs/check/shot_check.h"
#include "solver/seam_error.h"
#include "tests/check/defects.h"
#include "tests/support/value_of.h"

namespace {

using namespace seamwright;
using test::Defect;
using test::value_of;

struct Place {
  std::string name;
  std::string room;
  std::vector<Frame> frames;
  Rig real;  // the body's, with this shot's flex
};

std::vector<Place> places_of(const std::filesystem::path& demo) {
  std::vector<Place> places;
  const Rig body = value_of(read_template(demo / "truth/body.template.yaml")).rig();
  const auto poses = nlohmann::json::parse(value_of(read_file(demo / "truth/poses.json")));
  for (const auto& pose : poses["shots"]) {
    Place place;
    place.name = pose["shot"];
    place.real = body;
    for (const DemoShot& shot : demo_shots()) {
      if (shot.name == place.name) place.room = shot.room;
    }
    const auto& flex = pose["back_lens_flex_rotation_vector_deg"];
    Quat& mount = place.real.lenses[1].rig_from_lens;
    mount = quat_from_rotation_vector(rad_from_deg(1) * Vec3(flex[0], flex[1], flex[2])) * mount;
    place.frames = value_of(read_shot({demo / "frames" / (place.name + "_front.tif"),
                                       demo / "frames" / (place.name + "_back.tif")},
                                      {}));
    places.push_back(std::move(place));
  }
  return places;
}

double true_p95_px(const Rig& used, const Rig& real) {
  std::vector<double> sizes;
  for (const SeamSample& s : seam_misalignment(used, real, 0, 1)) {
    sizes.push_back(std::hypot(s.parallax_px, s.sideways_px));
  }
  std::sort(sizes.begin(), sizes.end());
  return sizes.empty()
             ? 0
             : sizes[static_cast<std::size_t>(0.95 * static_cast<double>(sizes.size() - 1))];
}

struct Tally {
  int right = 0, missed = 0, false_alarm = 0, quiet = 0;
  void add(bool wrong, bool said) {
    ++(wrong ? (said ? right : missed) : (said ? false_alarm : quiet));
  }
  void print(const char* what) const {
    std::printf("%s: %d of %d found (recall %.1f %%), %d false alarms in %d (precision %.1f %%)\n",
                what, right, right + missed, 100.0 * right / std::max(1, right + missed),
                false_alarm, false_alarm + quiet, 100.0 * right / std::max(1, right + false_alarm));
  }
};

double correlation(const std::vector<std::pair<double, double>>& points) {
  double n = 0, x = 0, y = 0, xx = 0, yy = 0, xy = 0;
  for (const auto& [a, b] : points) {
    n += 1, x += a, y += b, xx += a * a, yy += b * b, xy += a * b;
  }
  return (n * xy - x * y) / std::sqrt((n * xx - x * x) * (n * yy - y * y));
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 4) {
    std::fputs("usage: study_check DEMO_DIR body.template.yaml COUNT [csv]\n", stderr);
    return 1;
  }
  const bool csv = argc > 4;
  const std::vector<Place> places = places_of(argv[1]);
  const RigTemplate body = value_of(read_template(argv[2]));
  const int count = std::stoi(argv[3]);
  const ShotCheckOptions options;
  test::Random random(40);
  Tally halves[2];
  std::map<Defect, Tally> by_defect;
  std::map<Defect, std::map<std::string, int>> named;
  std::vector<std::pair<double, double>> misalignments;
  for (int i = 0; i < count; ++i) {
    const auto defect =
        i % 2 == 0 ? Defect::none : static_cast<Defect>(1 + i / 2 % (test::kDefects - 1));
    const Place& place =
        places[static_cast<std::size_t>(random.integer(0, static_cast<int>(places.size()) - 1))];
    const Place* other = &place;
    while (other->room == place.room) {
      other =
          &places[static_cast<std::size_t>(random.integer(0, static_cast<int>(places.size()) - 1))];
    }
    const auto shot = test::with_defect(defect, body, place.frames, other->frames, 1.0, random);
    const auto checked = value_of(check_shot(place.name, shot.body, shot.frames, options));
    const int width = shot.frames[0].image.width();
    const double real_px =
        true_p95_px(shot.body.rig().scaled_to(width, width), place.real.scaled_to(width, width));
    const bool geometric = defect == Defect::none || defect == Defect::knocked;
    if (geometric && checked.ring.readable)
      misalignments.emplace_back(checked.ring.p95_px, real_px);
    bool wrong = defect != Defect::none;
    if (geometric) {
      if (real_px > 0.5 * options.visible_px && real_px < 2 * options.visible_px) continue;
      wrong = real_px >= 2 * options.visible_px;
    }
    const bool said = !checked.found.findings.empty();
    halves[i < count / 2 ? 0 : 1].add(wrong, said);
    by_defect[defect].add(wrong, said);
    for (const Finding& finding : checked.found.findings) {
      ++named[defect][std::string(seamwright::name_of(finding.kind))];
    }
    if (!csv) continue;
    double step = 0, blurred = 0, clipped = 0;
    for (const ColourStep& s : checked.light.steps) step = std::max(step, s.delta_e);
    for (const PairBlur& p : checked.light.blur) blurred = p.octaves;
    for (const double share : checked.light.clipped_share) clipped = std::max(clipped, share);
    std::printf("%s,%s,%.2f,%.2f,%.2f,%.2f,%.2f,%.3f,%.2f,%.2f\n", place.name.c_str(),
                std::string(test::name_of(defect)).c_str(), real_px, checked.ring.p95_px,
                checked.ring.sigma_px, step, blurred, clipped, checked.ring.unseen_share,
                checked.tilt_deg.value_or(-1));
    std::fflush(stdout);
  }
  std::printf("\n| defect | shots | found | said |\n|---|---|---|---|\n");
  for (const auto& [defect, tally] : by_defect) {
    std::string said;
    for (const auto& [kind, times] : named[defect]) {
      said += (said.empty() ? "" : ", ") + kind + " " + std::to_string(times);
    }
    std::printf("| %s | %d | %d | %s |\n", std::string(test::name_of(defect)).c_str(),
                tally.right + tally.missed + tally.false_alarm + tally.quiet,
                tally.right + tally.false_alarm, said.c_str());
  }
  halves[0].print("first half");
  halves[1].print("second half");
  std::printf("misalignment found against true: correlation %.3f over %zu shots\n",
              correlation(misalignments), misalignments.size());
  return 0;
}
