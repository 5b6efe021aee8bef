#include "apps/demo/house/house.h"

namespace seamwright::demo {
namespace {

void hall_shell(Builder& b, const Palette& p) {
  const auto paper = b.material(
      {.pattern = Pattern::plaster, .base = {0.66F, 0.52F, 0.3F}, .contrast = 1.8F, .seed = 1});
  const auto tiles = b.material({.pattern = Pattern::tiles,
                                 .base = {0.62F, 0.6F, 0.54F},
                                 .second = {0.13F, 0.12F, 0.13F},
                                 .third = {0.35F, 0.33F, 0.3F},
                                 .scale_m = 0.3F,
                                 .seed = 3});
  const MaterialId paint = p.white_plaster;
  b.box({-0.15F, -0.05F, -0.3F}, {4.35F, 0, 7.15F}, tiles);
  b.box({-0.3F, 2.9F, -0.3F}, {4.5F, 3.1F, 7.3F}, p.ceiling);
  b.wall({.along = Builder::Along::x,
          .from = -0.3F,
          .to = 4.35F,
          .side_low = -0.3F,
          .side_high = 0,
          .top = 2.9F},
         {{1.4F, 2.8F, 0, 2.5F}}, {paint, paint, paint, paint, paper, p.cream_plaster});
  // Towards the library, whose paper shows on the other side.
  const auto library_paper = b.material({.pattern = Pattern::wallpaper,
                                         .base = {0.1F, 0.2F, 0.15F},
                                         .second = {0.22F, 0.32F, 0.2F},
                                         .third = {0.5F, 0.4F, 0.16F},
                                         .scale_m = 0.24F,
                                         .seed = 8});
  b.wall({.along = Builder::Along::z,
          .from = 0,
          .to = 7.0F,
          .side_low = -0.3F,
          .side_high = 0,
          .top = 2.9F},
         {{2.4F, 3.3F, 0, 2.05F}}, {paper, library_paper, paint, paint, paint, paint});
  for (const float side : {0.0F, 4.2F}) {
    const float low = side > 1.0F ? side - 0.018F : side;
    b.wall({.along = Builder::Along::z,
            .from = 0,
            .to = 7.0F,
            .side_low = low,
            .side_high = low + 0.018F,
            .top = 0.95F},
           {side > 1.0F ? Opening{2.5F, 3.9F, 0, 2} : Opening{2.3F, 3.4F, 0, 2}}, all(p.walnut));
    b.wall({.along = Builder::Along::z,
            .from = 0,
            .to = 7.0F,
            .side_low = low - 0.012F,
            .side_high = low + 0.03F,
            .bottom = 0.95F,
            .top = 1.0F},
           {side > 1.0F ? Opening{2.5F, 3.9F, 0, 2} : Opening{2.3F, 3.4F, 0, 2}}, all(p.oak));
  }
  b.wall({.along = Builder::Along::x,
          .from = -0.3F,
          .to = 4.5F,
          .side_low = 7.0F,
          .side_high = 7.3F,
          .top = 2.9F},
         {{2.6F, 3.5F, 0, 2.05F}},
         {paint, paint, paint, paint,
          b.material({.pattern = Pattern::wallpaper,
                      .base = {0.5F, 0.58F, 0.64F},
                      .second = {0.72F, 0.74F, 0.72F},
                      .third = {0.3F, 0.38F, 0.5F},
                      .scale_m = 0.17F,
                      .seed = 21}),
          paper});
}

void entrance(Builder& b, const Palette& p) {
  door_frame(b, {2.1F, 0, -0.15F, 0}, 1.4F, 2.5F, 0.3F, p.oak);
  for (const float x : {1.41F, 2.1F}) {
    b.box({x, 0.01F, -0.18F}, {x + 0.69F, 0.95F, -0.12F},
          {p.oak, p.oak, p.oak, p.oak, p.dark_door, p.dark_door});
    window_bars(b, {x + 0.345F, 1.52F, -0.17F, 0}, 0.68F, 1.1F, {2, 3}, p.oak);
  }
  b.box({1.4F, 2.07F, -0.18F}, {2.8F, 2.14F, -0.12F}, p.oak);
  window_bars(b, {2.1F, 2.32F, -0.17F, 0}, 1.38F, 0.36F, {4, 1}, p.oak);
  b.box({1.5F, 0, 0.15F}, {2.7F, 0.012F, 0.85F}, p.grey_cloth);
}

void doors(Builder& b, const Palette& p) {
  door_frame(b, {-0.15F, 0, 2.85F, 90}, 0.9F, 2.05F, 0.3F, p.painted_wood);
  door_leaf(b, p, {-0.15F, 0, 3.3F, 90}, 0.9F, 2.04F, p.panelled_door);
  door_frame(b, {4.35F, 0, 3.2F, 90}, 1.2F, 2.2F, 0.3F, p.painted_wood);
  door_frame(b, {3.05F, 0, 7.15F, 0}, 0.9F, 2.05F, 0.3F, p.painted_wood);
  door_leaf(b, p, {3.48F, 0, 7.3F, -85}, 0.88F, 2.04F, p.panelled_door);
  sign(b, {3.02F, 2.32F, 6.995F, 180}, {.width = 0.62F, .height = 0.2F, .text = "ROOM 3"});
  sign(b, {0.005F, 2.32F, 2.85F, 90}, {.width = 0.66F, .height = 0.2F, .text = "LIBRARY"});
  sign(b, {4.195F, 2.5F, 3.2F, 270}, {.width = 1.2F, .height = 0.24F, .text = "BREAKFAST 7-10"});
}

void reception(Builder& b, const Palette& p) {
  b.box({3.3F, 0, 0.7F}, {3.85F, 1.05F, 2.3F},
        {p.oak, p.dark_door, p.oak, p.oak, p.walnut, p.walnut});
  b.box({3.24F, 1.05F, 0.65F}, {3.9F, 1.09F, 2.35F}, p.walnut);
  sign(b, {3.29F, 0.82F, 1.5F, 270},
       {.width = 1.1F, .height = 0.22F, .text = "RECEPTION", .ground = {0.2F, 0.1F, 0.05F}});
  const auto rack = b.material({.pattern = Pattern::key_rack,
                                .base = {0.2F, 0.11F, 0.05F},
                                .second = {0.36F, 0.22F, 0.11F},
                                .third = {0.7F, 0.66F, 0.55F}});
  b.box({4.15F, 1.25F, 1.1F}, {4.19F, 2.0F, 2.1F}, {p.oak, rack, p.oak, p.oak, p.oak, p.oak});
  clock(b, p, {4.195F, 2.4F, 1.6F, 270}, 0.4F);
  table_lamp(b, p, {3.55F, 1.09F, 2.05F});
  book_pile(b, p, {3.5F, 1.09F, 0.95F, 20}, 3);
  vase(b, p, {3.6F, 1.09F, 1.3F}, 0.42F);
  b.ellipsoid({3.38F, 1.12F, 1.7F}, {0.05F, 0.04F, 0.05F}, p.brass);
  notice(b, {3.45F, 1.094F, 1.6F, 0}, 0.2F, 0.003F, "", 0.01F);
}

void walls(Builder& b, const Palette& p) {
  sign(b, {2.0F, 2.45F, 6.995F, 180},
       {.width = 1.25F,
        .height = 0.42F,
        .text = "LANTERN\nGUEST HOUSE",
        .ground = {0.5F, 0.44F, 0.3F},
        .letters = {0.1F, 0.05F, 0.03F}});
  picture(b, p, {2.0F, 1.75F, 6.995F, 180}, 0.55F, 0.4F, p.brass);
  picture(b, p, {0.02F, 1.65F, 1.5F, 90}, 0.6F, 0.8F, p.walnut);
  picture(b, p, {0.02F, 1.75F, 4.1F, 90}, 0.45F, 0.35F, p.brass);
  picture(b, p, {0.02F, 1.6F, 4.85F, 90}, 0.35F, 0.5F, p.oak);
  picture(b, p, {4.18F, 1.7F, 4.7F, 270}, 0.7F, 0.5F, p.walnut);
  picture(b, p, {4.18F, 1.6F, 5.8F, 270}, 0.4F, 0.55F, p.brass);
  notice(b, {0.65F, 1.6F, 0.01F, 0}, 0.42F, 0.58F, "HOUSE RULES", 0.022F);
  notice(b, {3.4F, 1.7F, 0.01F, 0}, 0.36F, 0.48F, "FERRY TIMES", 0.018F);
  notice(b, {1.15F, 1.55F, 0.01F, 0}, 0.26F, 0.36F, "WALKS", 0.014F);
  radiator(b, p, {0.03F, 0, 3.95F, 90}, 0.7F);
}

void things(Builder& b, const Palette& p) {
  stairs(b, p, {1.0F, 0, 4.9F, 0}, 7);
  b.box({1.02F, 0, 6.66F}, {1.95F, 1.29F, 6.99F}, p.oak);
  coat_stand(b, p, {0.5F, 0, 0.65F, 30});
  suitcase(b, {0.7F, 0, 1.4F, 75}, p.ochre_cloth, p.dark_wood);
  suitcase(b, {0.4F, 0, 1.75F, 100}, p.wine_cloth, p.walnut);
  chair(b, {0.35F, 0, 4.5F, 90}, p.walnut, p.wine_cloth);
  table(b, {3.9F, 0, 5.2F, 270}, {1.1F, 0.78F, 0.4F}, p.walnut, p.walnut);
  vase(b, p, {3.95F, 0.78F, 5.5F}, 0.5F);
  book_pile(b, p, {3.9F, 0.78F, 4.9F, 40}, 4);
  plant(b, p, {3.85F, 0, 6.55F}, 1.5F);
  plant(b, p, {0.45F, 0, 6.4F}, 1.1F);
  rug(b, {2.1F, 0, 3.1F, 0}, 1.5F, 2.6F,
      {{0.32F, 0.05F, 0.05F}, {0.5F, 0.38F, 0.2F}, {0.06F, 0.1F, 0.2F}});
  b.cylinder({0.25F, 0, 2.15F}, {0.25F, 0.6F, 2.15F}, 0.12F, p.brass, p.dark_wood);
  b.cylinder({0.23F, 0.05F, 2.15F}, {0.32F, 0.85F, 2.2F}, 0.02F, p.green_cloth);
}

}  // namespace

void build_hall(Builder& b, const Palette& p) {
  hall_shell(b, p);
  entrance(b, p);
  doors(b, p);
  reception(b, p);
  walls(b, p);
  things(b, p);
  const Float3 near_door = pendant(b, p, {2.1F, 2.9F, 2.0F}, 0.55F);
  const Float3 inner = pendant(b, p, {2.3F, 2.9F, 4.6F}, 0.5F);
  Room room;
  room.name = "hall";
  room.bounds = air(0, 0, 4.2F, 7.0F, 2.9F);
  room.lights = {lamp_light(near_door, {2.0F, 1.75F, 1.35F}),
                 lamp_light(inner, {2.2F, 1.9F, 1.45F}),
                 window_light(b, {2.1F, 1.7F, -0.1F, 0}, 1.3F, 1.5F, {5.0F, 5.2F, 5.5F}),
                 lamp_light(b.to_world({3.55F, 1.62F, 2.05F}), {0.25F, 0.19F, 0.11F})};
  b.scene().rooms.push_back(std::move(room));
}

}  // namespace seamwright::demo
