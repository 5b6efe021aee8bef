// Photographs of an interior by four 220° fisheyes, and the calibration published with them
// (SEAMWRIGHT_SHARED_DATA/four_lens_interior).

#include <algorithm>
#include <cmath>
#include <filesystem>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "features/ties.h"
#include "imaging/convert.h"
#include "imaging/read_image.h"
#include "projection/ribbon.h"
#include "tests/features/published_rig.h"
#include "tests/features/tie_drawing.h"
#include "tests/support/random_geometry.h"
#include "tests/support/scratch_dir.h"
#include "tests/support/shared_data.h"

namespace seamwright::test {

namespace {

constexpr double kHalfField_rad = rad_from_deg(107);  // of 110°; the last degrees are dark

// Half as wide and high, each pixel the mean of four.
Image halved(const Image& full) {
  const Image grey = to_grey_f32(full);
  Image half(full.width() / 2, full.height() / 2, Channels::grey, SampleType::f32);
  half.transfer = Transfer::srgb;
  for (int y = 0; y < half.height(); ++y) {
    const auto upper = grey.row<float>(2 * y);
    const auto lower = grey.row<float>(2 * y + 1);
    const auto to = half.row<float>(y);
    for (std::size_t x = 0; x < to.size(); ++x) {
      to[x] = 0.25F * (upper[2 * x] + upper[2 * x + 1] + lower[2 * x] + lower[2 * x + 1]);
    }
  }
  return half;
}

std::vector<Image> read_frames(const std::filesystem::path& folder) {
  std::vector<Image> frames;
  for (int camera = 1; camera <= 4; ++camera) {
    auto frame = read_image(folder / fmt::format("cam{}_00001.png", camera));
    REQUIRE(frame);
    frames.push_back(halved(*frame));
  }
  return frames;
}

// What somebody knows before calibrating: equidistant of about the right focal length, circles
// centred, rotations to a degree.
Rig rough(const Rig& published) {
  Random random(3);
  Rig rig = published;
  for (std::size_t i = 0; i < rig.lenses.size(); ++i) {
    Lens& lens = rig.lenses[i].lens;
    const double focal_px = lens.terms[kFocal] * lens.radius(kPi / 2) / (kPi / 2);
    const Vec2 centre = lens.centre_px();
    lens.terms.fill(0);
    lens.terms[kFocal] = focal_px;
    lens.terms[kCentreU] = centre.x();
    lens.terms[kCentreV] = centre.y();
    if (i == 0) continue;
    rig.lenses[i].rig_from_lens =
        (quat_from_rotation_vector(random_offset(random, rad_from_deg(1))) *
         rig.lenses[i].rig_from_lens)
            .normalized();
  }
  return rig;
}

// Sizes of the ties' sideways misalignment under a rig, px at its focal length, ascending.
std::vector<double> sideways_px(const TieSet& set, const Rig& rig, int lens_a, int lens_b) {
  std::vector<double> sizes;
  const RibbonAxes axes = RibbonAxes::of_pair(rig, lens_a, lens_b);
  for (const Tie& tie : set.ties) {
    if (tie.sights[0].lens != lens_a || tie.sights[1].lens != lens_b) continue;
    const MountedLens& a = rig.lenses[static_cast<std::size_t>(lens_a)];
    const MountedLens& b = rig.lenses[static_cast<std::size_t>(lens_b)];
    const auto from_a = a.direction_in_rig(tie.sights[0].px);
    const auto from_b = b.direction_in_rig(tie.sights[1].px);
    if (!from_a || !from_b) continue;
    const RibbonAngles at_a = axes.angles(*from_a);
    const RibbonAngles at_b = axes.angles(*from_b);
    sizes.push_back(std::abs(std::remainder(at_b.psi_rad - at_a.psi_rad, 2 * kPi)) *
                    std::sin(at_a.eta_rad) * a.lens.terms[kFocal]);
  }
  std::sort(sizes.begin(), sizes.end());
  return sizes;
}

double quantile(const std::vector<double>& ascending, double share) {
  const auto index = static_cast<std::size_t>(share * static_cast<double>(ascending.size()));
  return ascending.at(std::min(index, ascending.size() - 1));
}

}  // namespace

TEST_CASE("ties of a photographed interior agree with its published calibration", "[real]") {
  const auto folder = shared_data("four_lens_interior");
  if (!folder) return;
  const PublishedRig published = read_published_rig(*folder / "published_rig.yaml", kHalfField_rad);
  CHECK(published.worst_fit_px < 0.3);
  // At half size, for time; pixels below are those of the half-size frames.
  const std::vector<Image> frames = read_frames(*folder);
  const Rig rig = published.rig.scaled_to(frames[0].width(), frames[0].height());
  const ScratchDir scratch;

  SECTION("from a rough rig: matches and consensus") {
    TieOptions options = TieOptions::cold_start(rad_from_deg(4), 0.02);
    options.nearest_m = 0.5;
    const Rig start = rough(rig);
    const auto set = find_ties(frames, start, 0, options);
    REQUIRE(set);
    REQUIRE(set->report.pairs.size() == 6);
    for (const PairTieReport& pair : set->report.pairs) {
      const auto sideways = sideways_px(*set, rig, pair.lens_a, pair.lens_b);
      CAPTURE(pair.lens_a, pair.lens_b, pair.matched, pair.consistent, quantile(sideways, 0.5));
      CHECK(pair.consistent > 100);
      CHECK(pair.consistent > 0.8 * pair.matched);
      // A key point is good to half a pixel; the published calibration to about as much.
      CHECK(quantile(sideways, 0.5) < 1);
      CHECK(quantile(sideways, 0.95) < 2.5);
    }
    put_picture(draw_ties(frames, start, *set, 0, 1, 20), scratch.path(), "four_lens_rough.png");
  }
  SECTION("through the published rig: refined ties") {
    TieOptions options;
    options.nearest_m = 0.5;
    options.max_ties_per_pair = 150;
    const auto set = find_ties(frames, rig, 0, options);
    REQUIRE(set);
    for (const PairTieReport& pair : set->report.pairs) {
      const auto sideways = sideways_px(*set, rig, pair.lens_a, pair.lens_b);
      CAPTURE(pair.lens_a, pair.lens_b, pair.kept, quantile(sideways, 0.5));
      CHECK(pair.kept > 100);
      CHECK(quantile(sideways, 0.5) < 1);
      CHECK(quantile(sideways, 0.97) < 1.5);
    }
    put_picture(draw_ties(frames, rig, *set, 0, 1, 4), scratch.path(), "four_lens_ties.png");
  }
}

}  // namespace seamwright::test
