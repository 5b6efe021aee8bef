// Colour terms on rendered shots of one room, beside the truth. The geometry is the true one here,
// and so are the tracks: what is tested is what light and fringes tell once those are known.

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "apps/demo/demo.h"
#include "base/parallel.h"
#include "imaging/read_image.h"
#include "jobs/learning/colour_pass.h"
#include "sampling/spline_plane.h"
#include "templates/rig_template.h"
#include "tests/support/random.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {
namespace {

namespace fs = std::filesystem;

constexpr int kFrame_px = 1000;
constexpr double kTo2000 = 2000.0 / kFrame_px;

std::vector<DemoShot> library_shots(int count) {
  std::vector<DemoShot> shots;
  for (const DemoShot& shot : demo_shots()) {
    if (shot.room == "library" && static_cast<int>(shots.size()) < count) shots.push_back(shot);
  }
  return shots;
}

Rig without_colour(Rig rig) {
  for (MountedLens& mounted : rig.lenses) {
    mounted.lens.red = mounted.lens.blue = {};
    mounted.lens.vignetting = {};
  }
  return rig;
}

FrameSource loader_of(const fs::path& frames, const std::vector<DemoShot>& shots) {
  return [frames, shots](int shot) -> Result<std::vector<Image>> {
    std::vector<Image> images;
    for (const char* side : {"front", "back"}) {
      auto image = read_image(
          frames / fmt::format("{}_{}.tif", shots[static_cast<std::size_t>(shot)].name, side));
      if (!image) return fail(image.error());
      images.push_back(std::move(*image));
    }
    return images;
  };
}

// Places of the room, each with every sight that is not hidden.
class TrueTracks {
 public:
  TrueTracks(Rig body, std::vector<DemoShot> shots, const DemoOptions& options)
      : shots_(std::move(shots)) {
    for (const DemoShot& shot : shots_) {
      rigs_.push_back(demo_shot_rig(body, options.seed, shot.name, options.flex_rms_deg));
    }
  }

  [[nodiscard]] std::vector<Tie> make(int count) const {
    test::Random random(71);
    std::vector<Tie> ties;
    for (int attempt = 0; attempt < 50 * count && static_cast<int>(ties.size()) < count;
         ++attempt) {
      const int shot = random.integer(0, static_cast<int>(shots_.size()) - 1);
      const MountedLens& lens = rigs_[static_cast<std::size_t>(shot)]
                                    .lenses[static_cast<std::size_t>(random.integer(0, 1))];
      const auto direction = lens.direction_in_rig(
          {random.uniform(0, lens.lens.width_px), random.uniform(0, lens.lens.height_px)});
      if (!direction) continue;
      const DemoShot& stand = shots_[static_cast<std::size_t>(shot)];
      const Vec3 origin = lens.ray_origin_in_rig(*direction);
      const Vec3 point = origin + scene_.distance_m(stand, origin, *direction) * *direction;
      Tie tie{.shot = shot};
      add_sights(stand.position + stand.world_from_rig() * point, tie);
      if (tie.sights.size() >= 2) ties.push_back(std::move(tie));
    }
    return ties;
  }

 private:
  void add_sights(const Vec3& point_in_world, Tie& tie) const {
    for (std::size_t shot = 0; shot < shots_.size(); ++shot) {
      const DemoShot& stand = shots_[shot];
      const Vec3 point = stand.world_from_rig().conjugate() * (point_in_world - stand.position);
      for (int lens = 0; lens < 2; ++lens) {
        const MountedLens& mounted = rigs_[shot].lenses[static_cast<std::size_t>(lens)];
        const auto px = mounted.project_point(point.normalized(), 1 / point.norm());
        if (!px) continue;
        const Vec3 origin = mounted.ray_origin_in_rig(point.normalized());
        const double distance = (point - origin).norm();
        const double first = scene_.distance_m(stand, origin, (point - origin) / distance);
        if (std::abs(first - distance) > 1e-3 * distance) continue;  // something stands before it
        tie.sights.push_back({.lens = lens, .px = *px, .shot = static_cast<int>(shot)});
      }
    }
  }

  DemoScene scene_;
  std::vector<DemoShot> shots_;
  std::vector<Rig> rigs_;
};

double worst_fringe_px(const FringeTerms& terms, const FringeTerms& truth, double rim_px) {
  double worst = 0;
  for (double r_hat = 0; r_hat <= 1; r_hat += 0.01) {
    worst = std::max(worst, rim_px * r_hat * std::abs(terms.scale(r_hat) - truth.scale(r_hat)));
  }
  return worst;
}

// Red and blue of a frame brought onto green by the lens' terms.
LightPlanes registered(const LightPlanes& planes, const Lens& lens) {
  LightPlanes result = planes;
  for (const auto& [colour, terms] : {std::pair(0, lens.red), std::pair(2, lens.blue)}) {
    const SplinePlane plane(planes.colours[static_cast<std::size_t>(colour)], 0.3);
    Image& to = result.colours[static_cast<std::size_t>(colour)];
    for (int y = 0; y < to.height(); ++y) {
      const auto row = to.row<float>(y);
      for (int x = 0; x < to.width(); ++x) {
        const Vec2 offset = Vec2(x + 0.5, y + 0.5) - lens.centre_px();
        const Vec2 px =
            lens.centre_px() + terms.scale(offset.norm() / lens.rim_radius_px()) * offset;
        row[static_cast<std::size_t>(x)] = plane.contains(px) ? plane.value(px.x(), px.y()) : 0;
      }
    }
  }
  return result;
}

// Misregistration at the rim that a fit finds, px.
double at_rim_px(const std::vector<FringeSample>& samples, double rim_px) {
  return rim_px * std::abs(fit_fringe(samples, rim_px).terms.scale(1) - 1);
}

TEST_CASE("fringes and vignetting of a rendered room come out as they were put in") {
  const test::ScratchDir scratch;
  const std::vector<DemoShot> shots = library_shots(3);
  DemoOptions options;
  options.frame_px = kFrame_px;
  options.with_panoramas = false;
  for (const DemoShot& shot : shots) options.only_shots.push_back(shot.name);
  REQUIRE(write_demo(scratch.path(), options));
  const auto body = read_template(scratch.path() / "truth" / "body.template.yaml");
  REQUIRE(body);
  const Rig& truth = body->rig();
  const FrameSource load = loader_of(scratch.path() / "frames", shots);
  const std::vector<int> all = {0, 1, 2};
  const std::vector<Tie> tracks = TrueTracks(truth, shots, options).make(1200);
  REQUIRE(tracks.size() == 1200);

  Rig learned = without_colour(truth);
  const auto outcome = learn_colour(learned, all, tracks, load, {});
  REQUIRE(outcome);
  CHECK(outcome->notes.empty());
  for (std::size_t i = 0; i < 2; ++i) {
    const Lens& lens = learned.lenses[i].lens;
    const Lens& true_lens = truth.lenses[i].lens;
    const double rim_px = lens.rim_radius_px();
    const double red = worst_fringe_px(lens.red, true_lens.red, rim_px) * kTo2000;
    const double blue = worst_fringe_px(lens.blue, true_lens.blue, rim_px) * kTo2000;
    double profile = 0;
    for (double r_hat = 0; r_hat <= 1; r_hat += 0.02) {
      profile = std::max(
          profile, std::abs(lens.vignetting.gain(r_hat) / true_lens.vignetting.gain(r_hat) - 1));
    }
    const auto frames = load(0);
    REQUIRE(frames);
    const auto planes = light_planes_of((*frames)[i]);
    REQUIRE(planes);
    const FringeSamples before = measure_fringes(*planes, lens);
    const FringeSamples after = measure_fringes(registered(*planes, lens), lens);
    const double red_before = at_rim_px(before.red, rim_px) * kTo2000;
    const double red_after = at_rim_px(after.red, rim_px) * kTo2000;
    const double blue_before = at_rim_px(before.blue, rim_px) * kTo2000;
    const double blue_after = at_rim_px(after.blue, rim_px) * kTo2000;
    WARN(fmt::format(
        "lens {}, px of 2000² frames: terms off by {:.3f} red, {:.3f} blue; measured at the rim "
        "of one frame, before and after: red {:.2f} {:.3f}, blue {:.2f} {:.3f}; vignetting off by "
        "{:.2f} %",
        i, red, blue, red_before, red_after, blue_before, blue_after, 100 * profile));
    CHECK(red <= 0.1);
    CHECK(blue <= 0.1);
    CHECK(red_before >= 1);
    CHECK(blue_before >= 1);
    CHECK(red_after <= 0.1);
    CHECK(blue_after <= 0.1);
    CHECK(outcome->photometry.lenses[i].learned);
    CHECK(profile < 0.01);
  }
  // The back lens is brighter by 0.25 EV, and a little warmer (apps/demo/render.cc).
  const auto& gain_ev = outcome->photometry.gain_ev[1];
  CHECK(gain_ev[0] == Approx(0.25 + std::log2(1.03)).margin(0.02));
  CHECK(gain_ev[1] == Approx(0.25).margin(0.02));
  CHECK(gain_ev[2] == Approx(0.25 + std::log2(0.96)).margin(0.02));

  // Ring ties alone: the vignetting stays where it was, and that is said.
  std::vector<Tie> ring;
  for (const Tie& track : tracks) {
    Tie own{.shot = track.shot};
    for (const TieSight& sight : track.sights) {
      if (sight.shot == track.shot) own.sights.push_back(sight);
    }
    if (own.sights.size() == 2) ring.push_back(own);
  }
  REQUIRE(ring.size() > 30);
  Rig from_ring = without_colour(truth);
  ColourOptions light_only;
  light_only.fringes = false;
  const auto little = learn_colour(from_ring, all, ring, load, light_only);
  REQUIRE(little);
  CHECK(from_ring.lenses[0].lens.vignetting == VignettingTerms{});
  REQUIRE(little->notes.size() == 1);
  CHECK_THAT(little->notes[0], Catch::Contains("several stands"));

  // The same whatever the thread count.
  const auto with_threads = [&](int threads) {
    const ThreadLimit limit(threads);
    Rig rig = without_colour(truth);
    REQUIRE(learn_colour(rig, std::span(all).first(1), tracks, load, {}));
    return rig.lenses[1].lens;
  };
  CHECK(with_threads(1) == with_threads(2));
}

}  // namespace
}  // namespace seamwright
