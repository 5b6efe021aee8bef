#include "apps/demo/house/furniture.h"

#include "apps/demo/caster/hash.h"

namespace seamwright::demo {
namespace {

void four_legs(Builder& b, const Float3& half, float height, float thick, MaterialId m) {
  for (const float x : {-1.0F, 1.0F}) {
    for (const float z : {-1.0F, 1.0F}) {
      const float cx = x * (half.x - thick);
      const float cz = z * (half.z - thick);
      b.box({cx - 0.5F * thick, 0, cz - 0.5F * thick},
            {cx + 0.5F * thick, height, cz + 0.5F * thick}, m);
    }
  }
}

/// Books, or books and a thing, on a shelf `width` wide whose board's top is at `bottom`.
void fill_shelf(Builder& b, const Palette& p, const Bookcase& size, float bottom, float gap,
                int shelf) {
  const float half = 0.5F * size.width - 0.03F;
  const auto h = lattice_hash(shelf, static_cast<int>(b.scene().shapes.size()), 5);
  const float tall = gap * 0.93F;
  const float front = size.depth - 0.05F - 0.05F * unit_float(h);
  if (h % 3U != 0U) {
    b.box({-half, bottom, 0.02F}, {half, bottom + tall, front},
          {p.dark_wood, p.dark_wood, p.dark_wood, p.dark_wood, p.books, p.books});
    return;
  }
  const float cut = -half + (0.45F + 0.2F * unit_float(h * 2654435761U)) * 2.0F * half;
  b.box({-half, bottom, 0.02F}, {cut, bottom + tall, front},
        {p.walnut, p.walnut, p.walnut, p.walnut, p.books, p.books});
  const float middle = 0.5F * (cut + half);
  switch ((h >> 8U) % 4U) {
    case 0:
      vase(b, p, {middle, bottom, 0.5F * size.depth}, 0.6F * gap);
      break;
    case 1:
      book_pile(b, p, {middle, bottom, 0.5F * size.depth, 8.0F}, 4);
      break;
    case 2:
      b.ellipsoid({middle, bottom + 0.09F, 0.55F * size.depth}, {0.09F, 0.09F, 0.09F},
                  p.blue_china);
      break;
    default:
      picture(b, p, {middle, bottom + 0.4F * gap, 0.08F}, 0.17F, 0.75F * gap, p.brass);
      break;
  }
}

}  // namespace

void bookcase(Builder& b, const Palette& p, const Place& place, const Bookcase& size) {
  b.enter(place);
  const float half = 0.5F * size.width;
  b.box({-half, 0, 0}, {half, size.height, 0.015F}, p.walnut);
  b.box({-half, 0, 0}, {-half + 0.025F, size.height, size.depth}, p.walnut);
  b.box({half - 0.025F, 0, 0}, {half, size.height, size.depth}, p.walnut);
  b.box({-half - 0.02F, size.height, 0}, {half + 0.02F, size.height + 0.05F, size.depth + 0.02F},
        p.walnut);
  const float plinth = 0.08F;
  const float gap = (size.height - plinth) / static_cast<float>(size.shelves);
  for (int i = 0; i < size.shelves; ++i) {
    const float bottom = plinth + gap * static_cast<float>(i);
    b.box({-half + 0.02F, bottom - 0.022F, 0}, {half - 0.02F, bottom, size.depth - 0.01F},
          p.walnut);
    fill_shelf(b, p, size, bottom, gap - 0.025F, i);
  }
  b.leave();
}

void table(Builder& b, const Place& place, const Float3& size, MaterialId top, MaterialId legs) {
  b.enter(place);
  const Float3 half = {0.5F * size.x, 0, 0.5F * size.z};
  b.box({-half.x, size.y - 0.03F, -half.z}, {half.x, size.y, half.z}, top);
  b.box({-half.x + 0.07F, size.y - 0.11F, -half.z + 0.07F},
        {half.x - 0.07F, size.y - 0.03F, half.z - 0.07F}, legs);
  four_legs(b, half, size.y - 0.03F, 0.06F, legs);
  b.leave();
}

void round_table(Builder& b, const Place& place, float radius, MaterialId top, MaterialId foot) {
  b.enter(place);
  b.cylinder({0, 0.72F, 0}, {0, 0.75F, 0}, radius, top);
  b.cylinder({0, 0.03F, 0}, {0, 0.72F, 0}, 0.045F, foot);
  b.cylinder({0, 0, 0}, {0, 0.03F, 0}, 0.26F, foot);
  b.leave();
}

void chair(Builder& b, const Place& place, MaterialId wood, MaterialId seat) {
  b.enter(place);
  const float half = 0.21F;
  b.box({-half, 0.42F, -half}, {half, 0.45F, half}, wood);
  b.box({-half + 0.02F, 0.45F, -half + 0.03F}, {half - 0.02F, 0.475F, half - 0.01F}, seat);
  four_legs(b, {half + 0.02F, 0, half + 0.02F}, 0.42F, 0.04F, wood);
  for (const float x : {-half + 0.02F, half - 0.02F}) {
    b.box({x - 0.02F, 0.42F, -half}, {x + 0.02F, 0.95F, -half + 0.035F}, wood);
  }
  for (const float h : {0.6F, 0.74F, 0.88F}) {
    b.box({-half, h, -half + 0.005F}, {half, h + 0.065F, -half + 0.025F}, wood);
  }
  b.leave();
}

void armchair(Builder& b, const Place& place, MaterialId cloth, MaterialId feet) {
  b.enter(place);
  four_legs(b, {0.36F, 0, 0.34F}, 0.12F, 0.05F, feet);
  b.box({-0.36F, 0.12F, -0.34F}, {0.36F, 0.32F, 0.34F}, cloth);
  b.box({-0.24F, 0.32F, -0.22F}, {0.24F, 0.46F, 0.35F}, cloth);
  b.box({-0.36F, 0.32F, -0.34F}, {0.36F, 0.98F, -0.18F}, cloth);
  for (const float x : {-0.3F, 0.3F}) {
    b.box({x - 0.06F, 0.32F, -0.2F}, {x + 0.06F, 0.56F, 0.32F}, cloth);
    b.cylinder({x, 0.58F, -0.2F}, {x, 0.58F, 0.34F}, 0.075F, cloth);
  }
  b.leave();
}

void wardrobe(Builder& b, const Palette& p, const Place& place, const Float3& size) {
  b.enter(place);
  const float half = 0.5F * size.x;
  b.box({-half, 0.08F, 0}, {half, size.y, size.z - 0.02F}, p.oak);
  b.box({-half - 0.03F, size.y, -0.0F}, {half + 0.03F, size.y + 0.06F, size.z + 0.02F}, p.oak);
  b.box({-half + 0.03F, 0, 0.03F}, {half - 0.03F, 0.08F, size.z - 0.05F}, p.dark_wood);
  for (const float side : {-1.0F, 1.0F}) {
    const float middle = side * 0.5F * half;
    b.box({middle - 0.5F * half + 0.01F, 0.12F, size.z - 0.02F},
          {middle + 0.5F * half - 0.01F, size.y - 0.04F, size.z}, p.dark_door);
    b.ellipsoid({side * 0.05F, 0.5F * size.y, size.z + 0.02F}, {0.018F, 0.018F, 0.018F}, p.brass);
  }
  b.leave();
}

void bed(Builder& b, const Palette& p, const Place& place, const Float3& size) {
  // Head end at the place, feet towards +z.
  b.enter(place);
  const float half = 0.5F * size.x;
  b.box({-half, 0.1F, 0.05F}, {half, 0.32F, size.z}, p.oak);
  four_legs(b, {half, 0, size.z * 0.0F + 0.05F}, 0.3F, 0.07F, p.oak);
  b.box({-half + 0.03F, 0.32F, 0.08F}, {half - 0.03F, 0.52F, size.z - 0.05F}, p.linen);
  b.box({-half - 0.02F, 0.34F, 0.62F}, {half + 0.02F, 0.56F, size.z - 0.02F}, p.blue_check);
  b.box({-half - 0.025F, 0.36F, 1.35F}, {half + 0.025F, 0.575F, size.z - 0.01F}, p.ochre_cloth);
  for (const float x : {-0.5F * half, 0.5F * half}) {
    b.ellipsoid({x, 0.58F, 0.33F}, {0.44F * half, 0.1F, 0.2F}, p.linen);
  }
  b.box({-half - 0.04F, 0, 0}, {half + 0.04F, 1.15F, 0.06F}, p.oak);
  b.box({-half - 0.04F, 0, size.z}, {half + 0.04F, 0.7F, size.z + 0.05F}, p.oak);
  for (const float x : {-half, half}) {
    for (const float z : {0.03F, size.z + 0.025F}) {
      b.ellipsoid({x, z > 1.0F ? 0.76F : 1.21F, z}, {0.05F, 0.06F, 0.05F}, p.brass);
    }
  }
  b.leave();
}

void stairs(Builder& b, const Palette& p, const Place& place, int steps) {
  // Rising towards +z; balusters on the −x side.
  b.enter(place);
  for (int i = 0; i < steps; ++i) {
    const auto k = static_cast<float>(i);
    const float h = 0.185F * (k + 1.0F);
    b.box({0, h - 0.185F, 0.25F * k}, {0.95F, h - 0.03F, 0.25F * k + 0.3F}, p.painted_wood);
    b.box({-0.02F, h - 0.03F, 0.25F * k - 0.03F}, {0.95F, h, 0.25F * k + 0.28F}, p.oak);
    b.cylinder({0.03F, h, 0.25F * k + 0.12F}, {0.03F, h + 0.85F, 0.25F * k + 0.12F}, 0.016F,
               p.painted_wood);
  }
  const float top = 0.185F * static_cast<float>(steps);
  b.cylinder({0.03F, 0.185F + 0.87F, 0.1F},
             {0.03F, top + 0.87F, 0.25F * static_cast<float>(steps) - 0.13F}, 0.03F, p.walnut);
  b.box({-0.03F, 0, 0.02F}, {0.09F, 1.25F, 0.14F}, p.walnut);
  b.ellipsoid({0.03F, 1.32F, 0.08F}, {0.075F, 0.075F, 0.075F}, p.walnut);
  b.leave();
}

void rug(Builder& b, const Place& place, float width, float depth, const RugColours& colours) {
  const auto m = b.material({.pattern = Pattern::rug,
                             .base = colours.ground,
                             .second = colours.field,
                             .third = colours.heart,
                             .scale_m = 0.26F});
  b.enter(place);
  b.box({-0.5F * width, 0, -0.5F * depth}, {0.5F * width, 0.012F, 0.5F * depth}, m);
  b.leave();
}

void radiator(Builder& b, const Palette& p, const Place& place, float width) {
  b.enter(place);
  const int ribs = static_cast<int>(width / 0.07F);
  for (int i = 0; i < ribs; ++i) {
    const float x = -0.5F * width + 0.07F * (static_cast<float>(i) + 0.5F);
    b.box({x - 0.027F, 0.12F, 0.03F}, {x + 0.027F, 0.68F, 0.13F}, p.white_metal);
  }
  b.cylinder({-0.5F * width, 0.17F, 0.08F}, {0.5F * width, 0.17F, 0.08F}, 0.02F, p.white_metal);
  b.cylinder({-0.5F * width, 0.63F, 0.08F}, {0.5F * width, 0.63F, 0.08F}, 0.02F, p.white_metal);
  b.leave();
}

void bench(Builder& b, const Palette& p, const Place& place) {
  b.enter(place);
  for (int i = 0; i < 4; ++i) {
    const float z = -0.18F + 0.12F * static_cast<float>(i);
    b.box({-0.8F, 0.42F, z - 0.05F}, {0.8F, 0.45F, z + 0.05F}, p.oak);
  }
  for (const float h : {0.56F, 0.7F, 0.84F}) {
    b.box({-0.8F, h, -0.26F}, {0.8F, h + 0.1F, -0.23F}, p.oak);
  }
  for (const float x : {-0.62F, 0.62F}) {
    b.box({x - 0.03F, 0, -0.24F}, {x + 0.03F, 0.94F, -0.19F}, p.iron);
    b.box({x - 0.03F, 0, 0.16F}, {x + 0.03F, 0.42F, 0.2F}, p.iron);
    b.box({x - 0.03F, 0.37F, -0.24F}, {x + 0.03F, 0.42F, 0.2F}, p.iron);
  }
  b.leave();
}

}  // namespace seamwright::demo
