#include "tests/support/ring_patches.h"

#include <cmath>

#include <catch2/catch.hpp>

#include "projection/equirect.h"

namespace seamwright {

namespace {

constexpr int kPatchesWidth = 512;

// A textured world around the pole +z of the ring; `seen_eta` says which colatitude of the world
// appears under a colatitude of the picture.
template <class SeenEta>
Image panorama(const RibbonAxes& axes, const SeenEta& seen_eta) {
  Image image(kPatchesWidth, kPatchesWidth / 2, Channels::grey, SampleType::f32);
  const Equirect sphere{kPatchesWidth, kPatchesWidth / 2};
  for (int y = 0; y < image.height(); ++y) {
    for (int x = 0; x < kPatchesWidth; ++x) {
      const RibbonAngles at = axes.angles(sphere.direction({x + 0.5, y + 0.5}));
      const double eta = seen_eta(at);
      image.row<float>(y)[static_cast<std::size_t>(x)] =
          static_cast<float>(0.5 + 0.2 * std::sin(23 * at.psi_rad + 4 * std::sin(7 * eta)) +
                             0.2 * std::sin(31 * eta + 3 * std::sin(5 * at.psi_rad)) +
                             0.1 * std::sin(40 * eta + 20 * at.psi_rad));
    }
  }
  return image;
}

const test::RingPatchOptions kOptions{
    .ring_px = 512, .reach_parallax_px = 12, .reach_sideways_px = 2};

}  // namespace

TEST_CASE("The ring measure forgives depth, not tears") {
  const RibbonAxes axes(Vec3(0.1, 0.05, 1));
  const Image ideal = panorama(axes, [](const RibbonAngles& at) { return at.eta_rad; });

  const test::RingPatches same = test::compare_ring(ideal, ideal, axes, kOptions);
  REQUIRE(same.textured.size() > 15);
  for (const test::RingPatch& patch : same.textured) CHECK(patch.score > 0.9999);

  // Shifted and stretched along η, as a nearer viewpoint would show it.
  const Image moved = panorama(axes, [](const RibbonAngles& at) {
    return 0.5 * kPi + 0.05 + 1.15 * (at.eta_rad - 0.5 * kPi);
  });
  const test::RingPatches forgiven = test::compare_ring(moved, ideal, axes, kOptions);
  REQUIRE(forgiven.textured.size() == same.textured.size());
  for (const test::RingPatch& patch : forgiven.textured) {
    CHECK(patch.score > 0.97);
    CHECK(patch.shift_parallax_px == Approx(0.05 * 512 / (2 * kPi)).margin(1.5));
    CHECK(patch.stretch == Approx(1.15).margin(0.06));
  }

  // On half of the ring the two sides of the seam stand 12 px apart.
  const Image torn = panorama(axes, [](const RibbonAngles& at) {
    const double tear = at.psi_rad > 0 && at.eta_rad > 0.5 * kPi ? 12 * 2 * kPi / 512 : 0;
    return at.eta_rad + tear;
  });
  const test::RingPatches broken = test::compare_ring(torn, ideal, axes, kOptions);
  CHECK(broken.share_below(0.85) == Approx(0.5).margin(0.12));
  for (const test::RingPatch& patch : broken.textured) {
    if (patch.psi_rad < -0.4 && patch.psi_rad > -kPi + 0.4) CHECK(patch.score > 0.999);
  }
}

TEST_CASE("Walls without texture do not count") {
  const RibbonAxes axes(Vec3::UnitZ());
  const Image plain(kPatchesWidth, kPatchesWidth / 2, Channels::rgb, SampleType::u16);
  const test::RingPatches patches = test::compare_ring(plain, plain, axes, kOptions);
  CHECK(patches.all == 512 / 24);
  CHECK(patches.textured.empty());
  CHECK_THROWS(patches.share_below(1));  // a share of nothing is no number
}

}  // namespace seamwright
