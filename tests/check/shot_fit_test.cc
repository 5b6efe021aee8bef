// The quick test on photographs of a real interior by four lenses.

#include "jobs/shot/shot_fit.h"

#include <filesystem>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "imaging/frame.h"
#include "tests/features/published_rig.h"
#include "tests/support/shared_data.h"
#include "tests/support/skip.h"

using namespace seamwright;

TEST_CASE("of four lenses, one of another shot is told though the others agree", "[fit]") {
  const auto data = test::shared_data("four_lens_interior");
  if (!data) return;
  RigTemplate body;
  body.body = "Four lenses, as published";
  body.solution.rig =
      test::read_published_rig((*data / "published_rig.yaml").string(), rad_from_deg(107)).rig;
  const auto frames = [&](const std::vector<std::string>& names) {
    std::vector<std::filesystem::path> files;
    for (const std::string& name : names) files.push_back(*data / (name + ".png"));
    auto read = read_shot(files, {});
    REQUIRE(read);
    return std::move(*read);
  };
  const FitOptions options{.small_px = 360};
  const auto good =
      fit_shot(body, frames({"cam1_00001", "cam2_00001", "cam3_00001", "cam4_00001"}), options);
  REQUIRE(good);
  CAPTURE(good->words);
  CHECK(good->verdict != FitVerdict::refused);
  const auto mixed =
      fit_shot(body, frames({"cam1_00001", "cam2_00002", "cam3_00001", "cam4_00001"}), options);
  REQUIRE(mixed);
  CAPTURE(mixed->words);
  CHECK(mixed->cause == Misfit::two_shots);
}
