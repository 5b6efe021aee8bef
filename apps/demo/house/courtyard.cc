#include "apps/demo/caster/hash.h"
#include "apps/demo/house/house.h"

namespace seamwright::demo {
namespace {

/// A house with a gable roof; the ridge runs along its x.
void building(Builder& b, const Palette& p, const Place& place, const Float3& size, float roof_m,
              const Faces& walls) {
  b.enter(place);
  const float w = 0.5F * size.x;
  const float d = 0.5F * size.z;
  b.box({-w, -0.1F, -d}, {w, size.y, d}, walls);
  constexpr int kSteps = 10;
  for (int i = 0; i < kSteps; ++i) {
    const float share = (static_cast<float>(i) + 0.9F) / kSteps;
    const float low = size.y + roof_m * static_cast<float>(i) / kSteps;
    b.box({-w, low, -d * (1.0F - share)}, {w, low + roof_m / kSteps, d * (1.0F - share)},
          walls[kRight]);
  }
  const float over = 0.4F;
  const float slope = roof_m / d;
  for (const float side : {-1.0F, 1.0F}) {
    b.quad({side * -(w + over), size.y + roof_m, 0}, {side * 2.0F * (w + over), 0, 0},
           {0, -roof_m - over * slope, side * -(d + over)}, p.roof);
  }
  b.box({-0.4F * w, size.y + 0.6F * roof_m, -0.5F},
        {-0.4F * w + 0.8F, size.y + roof_m + 1.0F, 0.3F}, p.brick);
  b.leave();
}

void tree(Builder& b, const Palette& p, const Place& place, float height, MaterialId crown) {
  b.enter(place);
  b.cylinder({0, -0.1F, 0}, {0, 0.6F * height, 0}, 0.03F * height, p.oak);
  const auto seed = static_cast<std::uint32_t>(b.scene().shapes.size());
  for (int i = 0; i < 150; ++i) {
    const float a = lattice_unit(i, 0, seed) - 0.5F;
    const float c = lattice_unit(i, 1, seed) - 0.5F;
    const float h = lattice_unit(i, 2, seed);
    const float spread = (1.1F - h) * 0.75F * height;
    const float r = (0.025F + 0.05F * lattice_unit(i, 3, seed)) * height;
    b.ellipsoid({spread * a, (0.33F + 0.62F * h) * height, spread * c}, {r, 0.6F * r, r}, crown);
  }
  b.leave();
}

void guest_house_outside(Builder& b, const Palette& p) {
  // Upper storey and roof over the rooms.
  building(b, p, {4.85F, 3.1F, 5.75F, 0}, {10.5F, 3.4F, 12.3F}, 3.5F, all(p.facade));
  sign(b, {2.1F, 3.6F, -0.42F, 180},
       {.width = 4.2F, .height = 0.8F, .text = "LANTERN GUEST HOUSE"});
  b.box({1.1F, -0.05F, -1.3F}, {3.1F, -0.01F, -0.3F}, p.stone);
}

void neighbours(Builder& b, const Palette& p) {
  const Faces brick = all(p.brick);
  const auto pale = b.material({.pattern = Pattern::facade,
                                .base = {0.62F, 0.6F, 0.55F},
                                .second = {0.3F, 0.1F, 0.08F},
                                .third = {0.72F, 0.7F, 0.66F},
                                .scale_m = 2.9F,
                                .contrast = 3});
  const auto rose = b.material({.pattern = Pattern::facade,
                                .base = {0.56F, 0.34F, 0.27F},
                                .second = {0.14F, 0.16F, 0.22F},
                                .third = {0.66F, 0.63F, 0.58F},
                                .scale_m = 2.4F,
                                .contrast = 3});
  building(b, p, {-30, 0, -36, 90}, {34, 6.2F, 9}, 4, all(pale));
  building(b, p, {40, 0, -40, 90}, {26, 9.3F, 10}, 4.5F, all(rose));
  building(b, p, {38, 0, -8, 92}, {18, 5, 9}, 3.5F, brick);
  building(b, p, {-12, 0, -76, 3}, {28, 6.4F, 10}, 4.2F, brick);
  building(b, p, {24, 0, -80, -4}, {22, 9.4F, 11}, 4.5F, all(pale));
  building(b, p, {-28, 0, 4, 0}, {20, 6.2F, 9}, 3.6F, all(rose));
  building(b, p, {24, 0, 10, 0}, {14, 6.2F, 9}, 3.6F, all(p.facade));
  // A tower.
  b.box({3, -0.1F, -92}, {10, 24, -85}, p.brick);
  b.box({2.5F, 24, -92.5F}, {10.5F, 24.8F, -84.5F}, p.stone);
  const auto dial = b.material({.pattern = Pattern::clock_face,
                                .base = {0.7F, 0.68F, 0.6F},
                                .second = {0.05F, 0.05F, 0.06F},
                                .third = {0.3F, 0.28F, 0.25F}});
  b.box({4.5F, 17, -84.99F}, {8.5F, 21, -84.8F},
        {p.stone, p.stone, p.stone, p.stone, dial, p.stone});
}

void yard(Builder& b, const Palette& p) {
  const auto cobbles = b.material({.pattern = Pattern::cobbles,
                                   .base = {0.36F, 0.34F, 0.31F},
                                   .second = {0.22F, 0.21F, 0.21F},
                                   .third = {0.09F, 0.085F, 0.06F},
                                   .scale_m = 0.14F});
  const auto grass = b.material(
      {.pattern = Pattern::grass, .base = {0.07F, 0.13F, 0.03F}, .second = {0.2F, 0.26F, 0.07F}});
  b.quad({-26, -0.06F, 3}, {62, 0, 0}, {0, 0, -74}, cobbles);
  b.quad({-1000, -0.1F, 1000}, {2000, 0, 0}, {0, 0, -2000}, grass);
  bench(b, p, {6.9F, -0.06F, -33.2F, 250});
  bench(b, p, {2.2F, -0.06F, -36.6F, 30});
  bench(b, p, {8.6F, -0.06F, -28.5F, 190});
  // A well.
  b.cylinder({-1.5F, -0.1F, -30}, {-1.5F, 0.8F, -30}, 0.9F, p.stone);
  b.cylinder({-2.3F, 0.7F, -30}, {-2.3F, 2.1F, -30}, 0.06F, p.oak);
  b.cylinder({-0.7F, 0.7F, -30}, {-0.7F, 2.1F, -30}, 0.06F, p.oak);
  b.cylinder({-2.3F, 1.8F, -30}, {-0.7F, 1.8F, -30}, 0.07F, p.oak);
  const auto crown = b.material({.pattern = Pattern::leaves,
                                 .base = {0.06F, 0.14F, 0.03F},
                                 .second = {0.26F, 0.38F, 0.09F},
                                 .third = {0.12F, 0.2F, 0.04F},
                                 .scale_m = 0.9F,
                                 .per_shape = true});
  tree(b, p, {-14, 0, -46, 0}, 9, crown);
  tree(b, p, {20, 0, -58, 0}, 11, crown);
  tree(b, p, {-12, 0, -10, 0}, 8, crown);
  tree(b, p, {18, 0, -12, 0}, 9.5F, crown);
  for (const Place& place : {Place{-4, 0, -40, 0}, Place{14, 0, -26, 0}}) {
    b.enter(place);
    b.cylinder({0, -0.06F, 0}, {0, 3.4F, 0}, 0.05F, p.iron);
    b.box({-0.14F, 3.4F, -0.14F}, {0.14F, 3.8F, 0.14F}, p.china);
    b.box({-0.18F, 3.8F, -0.18F}, {0.18F, 3.86F, 0.18F}, p.iron);
    b.leave();
  }
  sign(b, {2.2F, 0.72F, -36.56F, 30}, {.width = 0.5F, .height = 0.1F, .text = "REST A WHILE"});
}

void backdrops(Builder& b) {
  const auto trees = b.material({.pattern = Pattern::leaves,
                                 .base = {0.05F, 0.11F, 0.03F},
                                 .second = {0.2F, 0.27F, 0.08F},
                                 .third = {0.1F, 0.15F, 0.05F},
                                 .scale_m = 7});
  const auto hills = b.material({.pattern = Pattern::grass,
                                 .base = {0.12F, 0.17F, 0.09F},
                                 .second = {0.3F, 0.32F, 0.2F},
                                 .seed = 5});
  b.scene().backdrops = {{.radius_m = 230,
                          .base_height_m = 13,
                          .relief_m = 7,
                          .frequency = 9,
                          .material = trees,
                          .seed = 71},
                         {.radius_m = 800,
                          .base_height_m = 62,
                          .relief_m = 42,
                          .frequency = 2.2F,
                          .material = hills,
                          .seed = 72}};
}

}  // namespace

void build_courtyard(Builder& b, const Palette& p) {
  guest_house_outside(b, p);
  neighbours(b, p);
  yard(b, p);
  backdrops(b);
}

}  // namespace seamwright::demo
