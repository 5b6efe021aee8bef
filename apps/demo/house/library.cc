#include "apps/demo/house/house.h"

namespace seamwright::demo {
namespace {

void library_shell(Builder& b, const Palette& p) {
  const auto paper = b.material({.pattern = Pattern::wallpaper,
                                 .base = {0.1F, 0.2F, 0.15F},
                                 .second = {0.22F, 0.32F, 0.2F},
                                 .third = {0.5F, 0.4F, 0.16F},
                                 .scale_m = 0.24F,
                                 .seed = 8});
  const auto floor = b.material({.pattern = Pattern::planks,
                                 .base = {0.2F, 0.11F, 0.05F},
                                 .second = {0.38F, 0.23F, 0.11F},
                                 .scale_m = 0.11F,
                                 .seed = 14});
  const MaterialId paint = p.white_plaster;
  b.box({-4.8F, -0.05F, 0.7F}, {-0.15F, 0, 5.1F}, floor);
  b.box({-4.8F, 2.6F, 0.7F}, {-0.3F, 3.1F, 5.1F}, p.ceiling);
  b.wall({.along = Builder::Along::x,
          .from = -4.8F,
          .to = -0.3F,
          .side_low = 0.7F,
          .side_high = 1.0F,
          .top = 2.6F},
         {}, {paint, paint, paint, paint, paper, p.cream_plaster});
  b.wall({.along = Builder::Along::x,
          .from = -4.8F,
          .to = -0.3F,
          .side_low = 4.8F,
          .side_high = 5.1F,
          .top = 2.6F},
         {}, {paint, paint, paint, paint, p.cream_plaster, paper});
  b.wall({.along = Builder::Along::z,
          .from = 1.0F,
          .to = 4.8F,
          .side_low = -4.8F,
          .side_high = -4.5F,
          .top = 2.6F},
         {{2.25F, 3.55F, 0.95F, 2.1F}}, {paper, p.cream_plaster, paint, paint, paint, paint});
  // Ceiling beams.
  for (const float x : {-3.6F, -2.4F, -1.2F}) {
    b.box({x - 0.07F, 2.45F, 1.0F}, {x + 0.07F, 2.6F, 4.8F}, p.walnut);
  }
}

void window(Builder& b, const Palette& p) {
  window_bars(b, {-4.66F, 1.525F, 2.9F, 90}, 1.3F, 1.15F, {2, 2}, p.painted_wood);
  // A sheer curtain hides what is outside.
  b.quad({-4.7F, 2.1F, 2.25F}, {0, 0, 1.3F}, {0, -1.15F, 0}, p.sheer_curtain);
  curtains(b, p, {-4.5F, 1.55F, 2.9F, 90}, 1.2F, 1.25F);
  radiator(b, p, {-4.49F, 0, 2.9F, 90}, 1.0F);
  b.box({-4.5F, 0.86F, 2.2F}, {-4.2F, 0.9F, 3.6F}, p.walnut);
  plant(b, p, {-4.35F, 0.9F, 3.35F}, 0.4F);
  book_pile(b, p, {-4.35F, 0.9F, 2.5F, 15}, 5);
}

void cases(Builder& b, const Palette& p) {
  const Bookcase tall{.width = 1.02F, .height = 2.2F, .depth = 0.27F, .shelves = 6};
  for (int i = 0; i < 4; ++i) {
    bookcase(b, p, {-3.98F + 1.04F * static_cast<float>(i), 0, 4.79F, 180}, tall);
  }
  bookcase(b, p, {-4.49F, 0, 1.58F, 90},
           {.width = 1.0F, .height = 2.2F, .depth = 0.27F, .shelves = 6});
  bookcase(b, p, {-4.49F, 0, 4.15F, 90},
           {.width = 0.72F, .height = 2.2F, .depth = 0.27F, .shelves = 6});
  bookcase(b, p, {-0.31F, 0, 1.66F, 270},
           {.width = 1.1F, .height = 2.0F, .depth = 0.24F, .shelves = 5});
  bookcase(b, p, {-0.31F, 0, 3.96F, 270},
           {.width = 0.95F, .height = 2.0F, .depth = 0.24F, .shelves = 5});
  bookcase(b, p, {-0.95F, 0, 1.01F, 0},
           {.width = 0.72F, .height = 1.3F, .depth = 0.27F, .shelves = 4});
  b.ellipsoid({-0.95F, 1.5F, 1.15F}, {0.14F, 0.14F, 0.14F}, p.blue_china);
  b.cylinder({-0.95F, 1.35F, 1.15F}, {-0.95F, 1.38F, 1.15F}, 0.1F, p.brass);
}

void fireplace(Builder& b, const Palette& p) {
  b.enter({-2.5F, 0, 1.0F, 0});
  b.box({-0.75F, 0, 0}, {-0.45F, 1.1F, 0.22F}, p.brick);
  b.box({0.45F, 0, 0}, {0.75F, 1.1F, 0.22F}, p.brick);
  b.box({-0.45F, 0.8F, 0}, {0.45F, 1.1F, 0.22F}, p.brick);
  b.box({-0.45F, 0, 0}, {0.45F, 0.8F, 0.03F}, p.iron);
  b.box({-0.85F, 1.1F, 0}, {0.85F, 1.15F, 0.29F}, p.walnut);
  b.box({-0.8F, 0, 0.22F}, {0.8F, 0.02F, 0.5F}, p.stone);
  for (const float x : {-0.2F, 0.0F, 0.18F}) {
    b.cylinder({x - 0.2F, 0.08F, 0.1F}, {x + 0.2F, 0.1F, 0.16F}, 0.05F, p.oak, p.pine);
  }
  clock(b, p, {-0.05F, 1.35F, 0.12F, 0}, 0.38F);
  vase(b, p, {0.55F, 1.15F, 0.14F}, 0.4F);
  book_pile(b, p, {-0.6F, 1.15F, 0.15F, 60}, 3);
  picture(b, p, {0, 2.02F, 0.01F, 0}, 0.95F, 0.5F, p.brass);
  b.leave();
  picture(b, p, {-3.6F, 1.7F, 1.01F, 0}, 0.3F, 0.42F, p.walnut);
}

void seats(Builder& b, const Palette& p) {
  armchair(b, {-3.45F, 0, 1.85F, 50}, p.green_cloth, p.dark_wood);
  armchair(b, {-1.15F, 0, 4.0F, 215}, p.wine_cloth, p.dark_wood);
  round_table(b, {-3.45F, 0, 3.75F}, 0.36F, p.walnut, p.dark_wood);
  table_lamp(b, p, {-3.5F, 0.75F, 3.82F});
  notice(b, {-3.3F, 0.755F, 3.6F, 30}, 0.2F, 0.004F, "", 0.01F);
  book_pile(b, p, {-3.3F, 0.75F, 3.62F, 25}, 3);
  chair(b, {-1.2F, 0, 2.0F, 235}, p.walnut, p.ochre_cloth);
  floor_lamp(b, p, {-0.85F, 0, 3.35F});
  rug(b, {-2.4F, 0, 2.9F, 0}, 2.2F, 1.7F,
      {{0.06F, 0.1F, 0.22F}, {0.4F, 0.12F, 0.08F}, {0.55F, 0.42F, 0.2F}});
  // Library steps.
  b.box({-2.0F, 0, 4.15F}, {-1.65F, 0.22F, 4.5F}, p.oak);
  b.box({-2.0F, 0.22F, 4.32F}, {-1.65F, 0.44F, 4.5F}, p.oak);
}

}  // namespace

void build_library(Builder& b, const Palette& p) {
  library_shell(b, p);
  window(b, p);
  cases(b, p);
  fireplace(b, p);
  seats(b, p);
  sign(b, {-0.31F, 2.3F, 2.85F, 270}, {.width = 0.8F, .height = 0.2F, .text = "QUIET PLEASE"});
  const Float3 lamp = pendant(b, p, {-2.4F, 2.6F, 2.75F}, 0.42F);
  Room room;
  room.name = "library";
  room.bounds = air(-4.5F, 1.0F, -0.3F, 4.8F, 2.6F);
  room.lights = {lamp_light(lamp, {2.6F, 2.2F, 1.65F}),
                 window_light(b, {-4.6F, 1.525F, 2.9F, 90}, 1.2F, 1.1F, {5.2F, 5.2F, 5.0F}),
                 lamp_light(b.to_world({-3.5F, 1.3F, 3.82F}), {0.3F, 0.22F, 0.12F}),
                 lamp_light(b.to_world({-0.85F, 1.68F, 3.35F}), {0.55F, 0.42F, 0.24F})};
  b.scene().rooms.push_back(std::move(room));
}

}  // namespace seamwright::demo
