// Writes the calibration that was published with the photographs of an interior by four 220°
// fisheyes (the outside data's four_lens_interior) as a template, so that the program can stitch
// them:
//
//   study_interior published_rig.yaml interior.template.yaml

#include <cstdio>
#include <exception>

#include "projection/conventions.h"
#include "templates/rig_template.h"
#include "tests/features/published_rig.h"

using namespace seamwright;

namespace {

// A template's rig stands in its first lens.
Rig in_first_lens(Rig rig) {
  const MountedLens first = rig.lenses.front();
  const Quat turned = first.rig_from_lens.conjugate();
  for (MountedLens& mounted : rig.lenses) {
    mounted.rig_from_lens = (turned * mounted.rig_from_lens).normalized();
    mounted.pupil = turned * (mounted.pupil - first.pupil);
  }
  rig.lenses.front().rig_from_lens = Quat::Identity();
  return rig;
}

}  // namespace

int main(int argc, char** argv) try {
  if (argc != 3) {
    std::fprintf(stderr, "usage: study_interior published_rig.yaml NEW.template.yaml\n");
    return 1;
  }
  // Of 110°; the last degrees are dark.
  const auto published = test::read_published_rig(argv[1], rad_from_deg(107));
  RigTemplate value;
  value.body = "Four lenses, as published";
  value.solution.rig = in_first_lens(published.rig);
  const auto written = write_template(argv[2], value);
  if (!written) {
    std::fprintf(stderr, "%s\n", written.error().line().c_str());
    return 1;
  }
  std::printf("the published radii are followed to %.2f px\n", published.worst_fit_px);
  return 0;
} catch (const std::exception& fault) {
  std::fprintf(stderr, "%s\n", fault.what());
  return 1;
}
