#include <string>

#include <catch2/catch.hpp>

#include "solver/shared_terms.h"
#include "templates/shot_file.h"
#include "tests/support/random.h"
#include "tests/support/rigs.h"
#include "tests/templates/random_shot.h"

using namespace seamwright;
using namespace seamwright::test;

TEST_CASE("a touch moves the template's rig to the very bits it was made of", "[templates]") {
  CAPTURE(seed());
  Random random(31);
  int checked = 0;
  for (int k = 0; k < 50; ++k) {
    const int lens_count = random.integer(2, 6);
    const Rig rig = random_rig(random, {.lens_count = lens_count});
    const SharedTerms terms(lens_count, [](int, int) { return true; });
    ShotFile shot;
    shot.intake.lens_count = lens_count;
    for (int i = 0; i < lens_count; ++i) shot.frames.emplace_back(fmt::format("{}.tif", i));
    shot.rig_template = TemplateReference{.file = "t.yaml", .sha256 = std::string(64, 'f')};
    shot.touch = random_touch(random, lens_count);
    const auto again = parse_shot_file(format_shot_file(shot), "s.yaml");
    if (!again) FAIL(again.error().line());
    const auto touched = touched_rig(rig, *again->touch);
    REQUIRE(touched);
    const Rig expected = terms.stepped(
        rig, Eigen::Map<const Eigen::VectorXd>(shot.touch->step.data(), terms.columns()));
    for (std::size_t i = 0; i < rig.lenses.size(); ++i) {
      CHECK(touched->lenses[i].lens == expected.lenses[i].lens);
      CHECK(touched->lenses[i].rig_from_lens.coeffs() == expected.lenses[i].rig_from_lens.coeffs());
      CHECK(touched->lenses[i].pupil == expected.lenses[i].pupil);
      ++checked;
    }
  }
  CHECK(checked >= 100);
}

TEST_CASE("a touch that does not go with the rig is refused", "[templates]") {
  CAPTURE(seed());
  Random random(32);
  const Rig rig = random_rig(random);
  const auto other = touched_rig(rig, random_touch(random, 4));
  REQUIRE_FALSE(other);
  CHECK_THAT(other.error().line(), Catch::Contains("touch.terms.lens2.focal_px"));
  // 1 + 3 radial_1 θ² = 0 inside the field of view: the lens folds.
  const auto folded = touched_rig(rig, {.names = {"lens0.radial_1"}, .step = {-0.3}});
  REQUIRE_FALSE(folded);
  CHECK_THAT(folded.error().line(), Catch::Contains("folds at"));
}
