// What the quick test before a stitch says of shots, and what it costs (run by hand):
//
//   study_fit body.template.yaml FAULT FRONT BACK [FRONT BACK]...
//
// FAULT: none, swap, mirror, turnAB (clockwise quarters of each frame), knockD (lens 1 of the
// template turned by D degrees), other (each front with the back of the third shot after it). A
// line a shot: verdict, cause, what was measured, and seconds of one core.

#include <cstdio>
#include <ctime>
#include <filesystem>
#include <string>
#include <utility>
#include <vector>

#include "base/parallel.h"
#include "imaging/orient.h"
#include "jobs/shot/shot_fit.h"
#include "tests/support/value_of.h"

namespace {

using namespace seamwright;
using test::value_of;

void seed_frames(const std::string& fault, std::vector<Frame>& frames) {
  if (fault == "swap") std::swap(frames[0], frames[1]);
  if (fault == "mirror") {
    for (Frame& frame : frames) frame.image = mirror_left_right(frame.image);
  }
  if (fault.size() == 6 && fault.starts_with("turn")) {
    frames[0].image = rotate_quarter_turns(frames[0].image, fault[4] - '0');
    frames[1].image = rotate_quarter_turns(frames[1].image, fault[5] - '0');
  }
}

void seed_template(const std::string& fault, RigTemplate& body) {
  if (!fault.starts_with("knock")) return;
  const double size_rad = rad_from_deg(std::atof(fault.c_str() + 5));
  Quat& mount = body.solution.rig.lenses[1].rig_from_lens;
  mount = quat_from_rotation_vector(size_rad * Vec3(0.5, 0.7, -0.4).normalized()) * mount;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 5 || argc % 2 == 0) {
    std::fputs("usage: study_fit body.template.yaml FAULT FRONT BACK [FRONT BACK]...\n", stderr);
    return 1;
  }
  const ThreadLimit one_core(1);
  const std::string fault = argv[2];
  RigTemplate body = value_of(read_template(argv[1]));
  seed_template(fault, body);
  const int shots = (argc - 3) / 2;
  for (int shot = 0; shot < shots; ++shot) {
    const int back = fault == "other" ? (shot + 3) % shots : shot;
    auto frames = value_of(read_shot({argv[3 + 2 * shot], argv[4 + 2 * back]}, {}));
    seed_frames(fault, frames);
    const std::clock_t begin = std::clock();
    const ShotFit fit = value_of(fit_shot(body, frames));
    const double spent_s = static_cast<double>(std::clock() - begin) / CLOCKS_PER_SEC;
    std::printf(
        "%-24s %-8s %-11s ties %3d, %4d of %4d agree; p95 %.2f px (sure to %.2f), %.2f px "
        "left; %.3f degrees; %.2f s\n",
        std::filesystem::path(argv[3 + 2 * shot]).filename().c_str(),
        std::string(name_of(fit.verdict)).c_str(), std::string(name_of(fit.cause)).c_str(),
        fit.ties, fit.agreed, fit.matched, fit.p95_px, fit.sigma_px, fit.left_px, fit.knock_deg,
        spent_s);
    std::fflush(stdout);
  }
  return 0;
}
