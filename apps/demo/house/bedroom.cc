#include "apps/demo/house/house.h"

namespace seamwright::demo {
namespace {

void bedroom_shell(Builder& b, const Palette& p) {
  const auto paper = b.material({.pattern = Pattern::wallpaper,
                                 .base = {0.5F, 0.58F, 0.64F},
                                 .second = {0.72F, 0.74F, 0.72F},
                                 .third = {0.3F, 0.38F, 0.5F},
                                 .scale_m = 0.17F,
                                 .seed = 21});
  const auto floor = b.material({.pattern = Pattern::planks,
                                 .base = {0.42F, 0.28F, 0.14F},
                                 .second = {0.6F, 0.45F, 0.26F},
                                 .scale_m = 0.16F,
                                 .seed = 23});
  const MaterialId paint = p.white_plaster;
  b.box({-0.15F, -0.05F, 7.15F}, {4.35F, 0, 11.65F}, floor);
  b.box({-0.3F, 2.7F, 7.3F}, {4.5F, 3.1F, 11.8F}, p.ceiling);
  b.wall({.along = Builder::Along::z,
          .from = 7.3F,
          .to = 11.8F,
          .side_low = -0.3F,
          .side_high = 0,
          .top = 2.7F},
         {}, {paper, p.cream_plaster, paint, paint, paint, paint});
  b.wall({.along = Builder::Along::z,
          .from = 7.0F,
          .to = 11.8F,
          .side_low = 4.2F,
          .side_high = 4.5F,
          .top = 2.7F},
         {}, {p.cream_plaster, paper, paint, paint, paint, paint});
  b.wall({.along = Builder::Along::x,
          .from = 0,
          .to = 4.2F,
          .side_low = 11.5F,
          .side_high = 11.8F,
          .top = 2.7F},
         {{0.9F, 2.3F, 0.9F, 2.2F}}, {paint, paint, paint, paint, p.cream_plaster, paper});
  window_bars(b, {1.6F, 1.55F, 11.62F, 180}, 1.4F, 1.3F, {2, 3}, p.painted_wood);
  curtains(b, p, {1.6F, 1.6F, 11.5F, 180}, 1.4F, 1.4F);
  for (const float z : {11.48F, 7.3F}) {
    b.wall({.along = Builder::Along::x,
            .from = 0,
            .to = 4.2F,
            .side_low = z,
            .side_high = z + 0.02F,
            .top = 0.12F},
           {z < 8.0F ? Opening{2.5F, 3.6F, 0, 1} : Opening{0, 0, 0, 0}}, all(p.painted_wood));
  }
}

void furnish(Builder& b, const Palette& p) {
  bed(b, p, {0.02F, 0, 9.7F, 90}, {1.5F, 0, 2.05F});
  for (const float z : {8.68F, 10.75F}) {
    table(b, {0.3F, 0, z, 0}, {0.4F, 0.6F, 0.4F}, p.oak, p.oak);
    table_lamp(b, p, {0.3F, 0.6F, z});
  }
  book_pile(b, p, {0.36F, 0.6F, 8.56F, 30}, 2);
  wardrobe(b, p, {4.19F, 0, 10.55F, 270}, {1.3F, 2.0F, 0.58F});
  table(b, {3.9F, 0, 9.05F, 270}, {1.0F, 0.75F, 0.5F}, p.walnut, p.walnut);
  chair(b, {3.3F, 0, 9.1F, 80}, p.walnut, p.green_cloth);
  table_lamp(b, p, {4.0F, 0.75F, 8.75F});
  vase(b, p, {4.02F, 0.75F, 9.4F}, 0.36F);
  suitcase(b, {2.8F, 0, 11.25F, 170}, p.ochre_cloth, p.walnut);
  plant(b, p, {0.45F, 0, 7.75F}, 1.3F);
  rug(b, {2.6F, 0, 9.4F, 90}, 2.0F, 1.3F,
      {{0.5F, 0.45F, 0.35F}, {0.2F, 0.3F, 0.42F}, {0.45F, 0.15F, 0.12F}});
  radiator(b, p, {1.6F, 0, 11.49F, 180}, 1.0F);
  armchair(b, {1.15F, 0, 7.85F, 35}, p.ochre_cloth, p.dark_wood);
}

void walls(Builder& b, const Palette& p) {
  picture(b, p, {0.01F, 1.75F, 9.7F, 90}, 0.9F, 0.55F, p.brass);
  picture(b, p, {4.19F, 1.65F, 9.05F, 270}, 0.5F, 0.65F, p.walnut);
  picture(b, p, {2.0F, 1.65F, 7.31F, 0}, 0.45F, 0.6F, p.oak);
  picture(b, p, {3.2F, 1.65F, 11.49F, 180}, 0.55F, 0.4F, p.brass);
  notice(b, {4.19F, 1.55F, 8.1F, 270}, 0.25F, 0.35F, "YOUR STAY", 0.014F);
  sign(b, {1.2F, 2.3F, 7.31F, 0},
       {.width = 0.55F,
        .height = 0.3F,
        .text = "SLEEP\nWELL",
        .ground = {0.3F, 0.36F, 0.45F},
        .letters = {0.72F, 0.7F, 0.62F}});
  clock(b, p, {0.3F, 2.2F, 7.31F, 0}, 0.32F);
  // The number on the open door's face towards the room.
  sign(b, {3.385F, 1.6F, 7.75F, 275},
       {.width = 0.3F,
        .height = 0.14F,
        .text = "ROOM 3",
        .ground = {0.5F, 0.36F, 0.12F},
        .letters = {0.05F, 0.04F, 0.03F}});
}

}  // namespace

void build_bedroom(Builder& b, const Palette& p) {
  bedroom_shell(b, p);
  furnish(b, p);
  walls(b, p);
  const Float3 lamp = pendant(b, p, {2.4F, 2.7F, 9.3F}, 0.5F);
  Room room;
  room.name = "room_3";
  room.bounds = air(0, 7.3F, 4.2F, 11.5F, 2.7F);
  room.lights = {lamp_light(lamp, {1.9F, 1.65F, 1.25F}),
                 window_light(b, {1.6F, 1.55F, 11.55F, 180}, 1.3F, 1.25F, {4.4F, 4.9F, 5.6F}),
                 lamp_light(b.to_world({0.3F, 1.12F, 8.68F}), {0.22F, 0.17F, 0.1F}),
                 lamp_light(b.to_world({0.3F, 1.12F, 10.75F}), {0.22F, 0.17F, 0.1F})};
  b.scene().rooms.push_back(std::move(room));
}

}  // namespace seamwright::demo
