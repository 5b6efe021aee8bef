#include "apps/demo/house/house.h"

namespace seamwright::demo {
namespace {

constexpr float kSill = 0.9F;
constexpr float kHead = 2.3F;

void breakfast_room_shell(Builder& b, const Palette& p) {
  const auto paper = b.material({.pattern = Pattern::wallpaper,
                                 .base = {0.7F, 0.69F, 0.56F},
                                 .second = {0.42F, 0.52F, 0.36F},
                                 .third = {0.62F, 0.4F, 0.28F},
                                 .scale_m = 0.2F,
                                 .seed = 4});
  const auto hall_paper = b.material(
      {.pattern = Pattern::plaster, .base = {0.66F, 0.52F, 0.3F}, .contrast = 1.8F, .seed = 1});
  const auto floor = b.material({.pattern = Pattern::planks,
                                 .base = {0.3F, 0.17F, 0.08F},
                                 .second = {0.5F, 0.33F, 0.17F},
                                 .scale_m = 0.13F,
                                 .seed = 6});
  const MaterialId paint = p.white_plaster;
  b.box({4.35F, -0.05F, -0.15F}, {9.85F, 0, 6.55F}, floor);
  b.box({4.35F, 2.9F, -0.3F}, {10.0F, 3.1F, 6.7F}, p.ceiling);
  b.wall({.along = Builder::Along::x,
          .from = 4.35F,
          .to = 10.0F,
          .side_low = -0.3F,
          .side_high = 0,
          .top = 2.9F},
         {{5.3F, 6.7F, kSill, kHead}, {7.6F, 9.0F, kSill, kHead}},
         {paint, paint, paint, paint, paper, p.cream_plaster});
  b.wall({.along = Builder::Along::z,
          .from = 0,
          .to = 6.4F,
          .side_low = 9.7F,
          .side_high = 10.0F,
          .top = 2.9F},
         {{1.2F, 2.6F, kSill, kHead}, {3.8F, 5.2F, kSill, kHead}},
         {p.cream_plaster, paper, paint, paint, paint, paint});
  b.wall({.along = Builder::Along::x,
          .from = 4.5F,
          .to = 10.0F,
          .side_low = 6.4F,
          .side_high = 6.7F,
          .top = 2.9F},
         {}, {paint, paint, paint, paint, p.cream_plaster, paper});
  b.wall({.along = Builder::Along::z,
          .from = 0,
          .to = 7.0F,
          .side_low = 4.2F,
          .side_high = 4.5F,
          .top = 2.9F},
         {{2.6F, 3.8F, 0, 2.2F}}, {paper, hall_paper, paint, paint, paint, paint});
  for (const float x : {6.0F, 8.3F}) {
    window_bars(b, {x, 1.6F, -0.12F, 0}, 1.4F, 1.4F, {3, 3}, p.painted_wood);
    curtains(b, p, {x, 1.65F, 0, 0}, 1.4F, 1.5F);
  }
  for (const float z : {1.9F, 4.5F}) {
    window_bars(b, {9.82F, 1.6F, z, 270}, 1.4F, 1.4F, {3, 3}, p.painted_wood);
    radiator(b, p, {9.69F, 0, z, 270}, 0.9F);
  }
}

void trim(Builder& b, const Palette& p) {
  const auto skirting = [&](Builder::Along along, float from, float to, float low,
                            const std::vector<Opening>& gaps) {
    b.wall({.along = along,
            .from = from,
            .to = to,
            .side_low = low,
            .side_high = low + 0.02F,
            .top = 0.14F},
           gaps, all(p.painted_wood));
    b.wall({.along = along,
            .from = from,
            .to = to,
            .side_low = low,
            .side_high = low + 0.02F,
            .bottom = 2.72F,
            .top = 2.78F},
           {}, all(p.painted_wood));
  };
  skirting(Builder::Along::x, 4.5F, 9.7F, 0, {});
  skirting(Builder::Along::x, 4.5F, 9.7F, 6.38F, {});
  skirting(Builder::Along::z, 0, 6.4F, 4.5F, {{2.5F, 3.9F, 0, 1}});
  skirting(Builder::Along::z, 0, 6.4F, 9.68F, {});
}

void laid_table(Builder& b, const Palette& p, const Place& place, MaterialId cloth) {
  b.enter(place);
  table(b, {0, 0, 0, 0}, {1.1F, 0.74F, 0.8F}, p.pine, p.pine);
  b.box({-0.57F, 0.6F, -0.42F}, {0.57F, 0.748F, 0.42F}, cloth);
  for (const float side : {-1.0F, 1.0F}) {
    breakfast_setting(b, p, {0, 0.748F, 0.22F * side, side > 0 ? 180.0F : 0.0F});
    chair(b, {0.02F, 0, 0.68F * side, side > 0 ? 184.0F : -5.0F}, p.oak, p.wine_cloth);
  }
  vase(b, p, {0.38F, 0.748F, 0}, 0.3F);
  b.ellipsoid({-0.38F, 0.82F, 0.03F}, {0.09F, 0.075F, 0.07F}, p.china);
  b.cylinder({-0.31F, 0.82F, 0.03F}, {-0.24F, 0.87F, 0.03F}, 0.014F, p.china);
  b.ellipsoid({-0.38F, 0.9F, 0.03F}, {0.02F, 0.015F, 0.02F}, p.blue_china);
  b.leave();
}

void sideboard(Builder& b, const Palette& p) {
  b.box({6.3F, 0, 5.9F}, {8.5F, 0.9F, 6.38F},
        {p.walnut, p.walnut, p.walnut, p.walnut, p.walnut, p.dark_door});
  b.box({6.25F, 0.9F, 5.85F}, {8.55F, 0.935F, 6.38F}, p.walnut);
  for (int i = 0; i < 4; ++i) {
    const float x = 6.55F + 0.27F * static_cast<float>(i);
    b.cylinder({x, 0.935F, 6.1F}, {x, 1.12F + 0.03F * static_cast<float>(i % 3), 6.1F}, 0.055F,
               i % 2 == 0 ? p.glazed_red : p.blue_china, p.bread);
  }
  for (int i = 0; i < 6; ++i) {
    const float h = 0.935F + 0.012F * static_cast<float>(i);
    b.cylinder({7.75F, h, 6.1F}, {7.75F, h + 0.009F, 6.1F}, 0.13F,
               i % 2 == 0 ? p.china : p.blue_china);
  }
  b.ellipsoid({8.2F, 1.0F, 6.1F}, {0.2F, 0.08F, 0.11F}, p.bread);
  b.ellipsoid({8.15F, 0.99F, 5.95F}, {0.13F, 0.06F, 0.07F}, p.bread);
  // Shelf with plates above.
  b.box({6.3F, 1.55F, 6.2F}, {8.5F, 1.58F, 6.38F}, p.walnut);
  for (int i = 0; i < 7; ++i) {
    const float x = 6.5F + 0.3F * static_cast<float>(i);
    b.cylinder({x, 1.71F, 6.34F}, {x, 1.72F, 6.31F}, 0.12F, p.brass,
               i % 2 == 0 ? p.blue_china : p.china);
  }
}

}  // namespace

void build_breakfast_room(Builder& b, const Palette& p) {
  breakfast_room_shell(b, p);
  trim(b, p);
  sideboard(b, p);
  laid_table(b, p, {5.9F, 0, 1.05F, 4}, p.red_check);
  laid_table(b, p, {8.5F, 0, 1.2F, -8}, p.blue_check);
  laid_table(b, p, {8.6F, 0, 3.3F, 88}, p.red_check);
  laid_table(b, p, {6.75F, 0, 3.6F, 12}, p.linen);
  sign(b, {4.505F, 2.48F, 3.2F, 90}, {.width = 0.7F, .height = 0.22F, .text = "TO THE HALL"});
  sign(b, {7.4F, 2.3F, 6.375F, 180},
       {.width = 1.7F,
        .height = 0.32F,
        .text = "BREAKFAST 7-10",
        .ground = {0.35F, 0.08F, 0.06F},
        .letters = {0.75F, 0.7F, 0.55F}});
  picture(b, p, {4.51F, 1.65F, 1.4F, 90}, 0.8F, 0.55F, p.walnut);
  picture(b, p, {4.51F, 1.6F, 5.0F, 90}, 0.5F, 0.65F, p.brass);
  picture(b, p, {5.4F, 1.65F, 6.39F, 180}, 0.6F, 0.75F, p.oak);
  picture(b, p, {9.1F, 1.7F, 6.39F, 180}, 0.45F, 0.45F, p.walnut);
  notice(b, {4.51F, 1.5F, 2.25F, 90}, 0.3F, 0.42F, "MENU", 0.016F);
  picture(b, p, {9.68F, 1.7F, 3.2F, 270}, 0.4F, 0.5F, p.brass);
  picture(b, p, {7.15F, 1.7F, 0.02F, 0}, 0.36F, 0.5F, p.brass);
  plant(b, p, {9.25F, 0, 5.9F}, 1.5F);
  plant(b, p, {4.95F, 0, 0.45F}, 1.2F);
  const Float3 lamp = pendant(b, p, {7.0F, 2.9F, 3.1F}, 0.6F);
  Room room;
  room.name = "breakfast";
  room.bounds = air(4.5F, 0, 9.7F, 6.4F, 2.9F);
  room.lights = {lamp_light(lamp, {1.9F, 1.65F, 1.25F})};
  const Rgb daylight = {4.6F, 4.9F, 5.4F};
  for (const float x : {6.0F, 8.3F}) {
    room.lights.push_back(window_light(b, {x, 1.6F, -0.05F, 0}, 1.3F, 1.3F, daylight));
    room.sun_windows.push_back({{x - 0.7F, -kHead, -0.3F}, {x + 0.7F, -kSill, 0}});
  }
  for (const float z : {1.9F, 4.5F}) {
    room.lights.push_back(window_light(b, {9.75F, 1.6F, z, 270}, 1.3F, 1.3F, daylight));
    room.sun_windows.push_back({{9.7F, -kHead, z - 0.7F}, {10.0F, -kSill, z + 0.7F}});
  }
  b.scene().rooms.push_back(std::move(room));
}

}  // namespace seamwright::demo
