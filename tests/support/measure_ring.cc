// Measures stitched panoramas against an ideal one, ring by ring (ring_patches.h):
//
//   measure_ring body.template.yaml ideal.tif stitched.tif...
//
// Prints, for every stitched picture, the share of broken and blemished textured patches on the
// middle ring of lenses 0 and 1, 4° to both sides of it, and 30° off, where one lens is alone: what
// the measure itself takes for blemished.

#include <cstdio>

#include "imaging/read_image.h"
#include "templates/rig_template.h"
#include "tests/support/ring_patches.h"

namespace {

using seamwright::Image;
using seamwright::rad_from_deg;
using seamwright::RibbonAxes;
namespace test = seamwright::test;

void measure(const char* name, const Image& stitched, const Image& ideal, const RibbonAxes& axes) {
  for (const double off_deg : {-4.0, 0.0, 4.0, -30.0, 30.0}) {
    const test::RingPatchOptions options{.eta_rad = rad_from_deg(90 + off_deg)};
    const test::RingPatches patches = test::compare_ring(stitched, ideal, axes, options);
    std::printf("%-40s %+5.0f° %4zu of %4d textured, broken %5.1f %%, blemished %5.1f %%\n", name,
                off_deg, patches.textured.size(), patches.all,
                100 * patches.share_below(options.broken),
                100 * patches.share_below(options.blemished));
  }
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 4) {
    std::fputs("usage: measure_ring body.template.yaml ideal.tif stitched.tif...\n", stderr);
    return 1;
  }
  const auto body = seamwright::read_template(argv[1]);
  const auto ideal = seamwright::read_image(argv[2]);
  if (!body || !ideal) {
    std::fputs("cannot read the template or the ideal panorama\n", stderr);
    return 1;
  }
  const RibbonAxes axes = RibbonAxes::of_pair(body->rig(), 0, 1);
  for (int i = 3; i < argc; ++i) {
    const auto stitched = seamwright::read_image(argv[i]);
    if (!stitched) {
      std::fprintf(stderr, "cannot read %s\n", argv[i]);
      return 1;
    }
    measure(argv[i], *stitched, *ideal, axes);
  }
  return 0;
}
