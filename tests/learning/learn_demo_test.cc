// The whole way from pictures to a template, on rendered shots whose truth is deleted first.

#include <filesystem>
#include <optional>
#include <string>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "base/parallel.h"
#include "demo/demo.h"
#include "imaging/orient.h"
#include "imaging/read_image.h"
#include "learning/learn.h"
#include "solver/seam_error.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {
namespace {

namespace fs = std::filesystem;

LearnShot shot_of(const fs::path& frames, const std::string& name) {
  return {.name = name,
          .load = [frames, name]() -> Result<std::vector<Image>> {
            std::vector<Image> images;
            for (const char* side : {"front", "back"}) {
              auto image = read_image(frames / fmt::format("{}_{}.tif", name, side));
              if (!image) return fail(image.error());
              images.push_back(std::move(*image));
            }
            return images;
          },
          .sources = {}};
}

/// Renders the named shots, hands out the true rig and leaves only the frames.
Rig render_and_forget(const fs::path& dir, DemoOptions options) {
  options.with_panoramas = false;
  const auto written = write_demo(dir, options);
  if (!written) FAIL(written.error().line());
  const auto truth = read_template(dir / "truth" / "body.template.yaml");
  REQUIRE(truth);
  fs::remove_all(dir / "truth");
  REQUIRE_FALSE(fs::exists(dir / "truth"));
  return truth->rig();
}

SeamSummary seam_error_of(const LearnOutcome& outcome, const Rig& truth) {
  return summarise(seam_misalignment(outcome.rig_template.rig(), truth, 0, 1));
}

TEST_CASE("rooms and a courtyard, cold: a template from nothing but frames") {
  const test::ScratchDir scratch;
  DemoOptions options;
  options.frame_px = 1000;
  const Rig truth = render_and_forget(scratch.path(), options);

  std::vector<LearnShot> all;
  std::vector<LearnShot> indoors;
  for (const DemoShot& shot : demo_shots()) {
    all.push_back(shot_of(scratch.path() / "frames", shot.name));
    if (shot.room != "courtyard") indoors.push_back(all.back());
  }
  const auto with_yard = learn_template(all, {});
  REQUIRE(with_yard);
  const auto rooms_only = learn_template(indoors, {});
  REQUIRE(rooms_only);

  // Frames of 1000² are half of 2000²: one pixel here is two there.
  const double to_2000 = 2000.0 / options.frame_px;
  const SeamSummary yard = seam_error_of(*with_yard, truth);
  const SeamSummary rooms = seam_error_of(*rooms_only, truth);
  WARN(fmt::format(
      "misalignment at infinity in px of 2000² frames, RMS over the ring: rooms + courtyard {:.3f} "
      "(along {:.3f}, across {:.3f}, largest {:.2f}; claimed along {:.3f}, across {:.3f}); rooms "
      "only {:.3f} (along {:.3f}, across {:.3f}; claimed along {:.3f})",
      yard.rms_px * to_2000, yard.along_rms_px * to_2000, yard.across_rms_px * to_2000,
      yard.max_px * to_2000,
      with_yard->rig_template.solution.quality.expected_seam_along_px * to_2000,
      with_yard->rig_template.solution.quality.expected_seam_across_px * to_2000,
      rooms.rms_px * to_2000, rooms.along_rms_px * to_2000, rooms.across_rms_px * to_2000,
      rooms_only->rig_template.solution.quality.expected_seam_along_px * to_2000));
  CHECK(yard.rms_px * to_2000 <= 1.0);
  CHECK(yard.across_rms_px * to_2000 <= 0.3);
  CHECK(with_yard->rig_template.solution.quality.residual_spread == Approx(1.0).margin(0.4));
  CHECK(with_yard->rig_template.solution.quality.inlier_share > 0.9);
  for (const ShotOutcome& shot : with_yard->shots) CHECK(shot.left_out.empty());
  for (std::size_t lens = 0; lens < 2; ++lens) {
    REQUIRE(with_yard->circles[lens]);
    const Vec2 centre = truth.lenses[lens].lens.centre_px();
    CHECK((with_yard->circles[lens]->centre_px - centre).norm() < 0.01 * options.frame_px);
  }

  // The same template whatever the thread count.
  const std::span<const LearnShot> pair(&all[all.size() - 2], 2);
  const auto learn_with = [&](int threads) {
    const ThreadLimit limit(threads);
    const auto outcome = learn_template(pair, {});
    REQUIRE(outcome);
    return format_template(outcome->rig_template);
  };
  CHECK(learn_with(1) == learn_with(2));

  // A template is a start, and mirrored files are recognised against it.
  LearnOptions from;
  from.from = with_yard->rig_template;
  from.rounds = 1;
  LearnShot flipped = all[0];
  flipped.load = [load = all[0].load]() -> Result<std::vector<Image>> {
    auto frames = load();
    if (!frames) return frames;
    for (Image& frame : *frames) frame = mirror_left_right(frame);
    return frames;
  };
  const auto upright = learn_template(std::span(&all[0], 1), from);
  REQUIRE(upright);
  CHECK_FALSE(upright->rig_template.mirrored);
  const auto turned = learn_template(std::span(&flipped, 1), from);
  REQUIRE(turned);
  CHECK(turned->rig_template.mirrored);
  CHECK(turned->notes.size() == 1);
}

TEST_CASE("frames without a scene are refused in words") {
  LearnShot blank{.name = "capped",
                  .load = []() -> Result<std::vector<Image>> {
                    return std::vector<Image>(2, Image(400, 400, Channels::rgb, SampleType::u16));
                  },
                  .sources = {}};
  const auto result = learn_template(std::span(&blank, 1), {});
  REQUIRE_FALSE(result);
  CHECK_THAT(result.error().line(), Catch::Contains("lens cap"));

  LearnShot odd = blank;
  odd.name = "odd";
  odd.load = []() -> Result<std::vector<Image>> {
    return std::vector<Image>{Image(400, 400, Channels::rgb, SampleType::u16),
                              Image(300, 400, Channels::rgb, SampleType::u16)};
  };
  const auto mixed = learn_template(std::span(&odd, 1), {});
  REQUIRE_FALSE(mixed);
  CHECK_THAT(mixed.error().line(), Catch::Contains("300 x 400"));
}

}  // namespace
}  // namespace seamwright
