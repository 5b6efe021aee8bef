// Things on walls, tables and ceilings: declared in furniture.h.

#include "apps/demo/caster/hash.h"
#include "apps/demo/house/furniture.h"

namespace seamwright::demo {
namespace {

/// Four bars around a rectangle in the plane z = 0, `bar` wide and `deep` deep.
void bars_around(Builder& b, float width, float height, float bar, float deep, MaterialId m) {
  const float w = 0.5F * width;
  const float h = 0.5F * height;
  b.box({-w - bar, h, 0}, {w + bar, h + bar, deep}, m);
  b.box({-w - bar, -h - bar, 0}, {w + bar, -h, deep}, m);
  b.box({-w - bar, -h, 0}, {-w, h, deep}, m);
  b.box({w, -h, 0}, {w + bar, h, deep}, m);
}

}  // namespace

void picture(Builder& b, const Palette& p, const Place& place, float width, float height,
             MaterialId frame) {
  b.enter(place);
  const float bar = 0.07F * (width < height ? width : height);
  bars_around(b, width, height, bar, 0.025F, frame);
  b.box({-0.5F * width, -0.5F * height, 0.002F}, {0.5F * width, 0.5F * height, 0.012F},
        {p.dark_wood, p.dark_wood, p.dark_wood, p.dark_wood, p.painting, p.dark_wood});
  b.leave();
}

void sign(Builder& b, const Place& place, const Sign& s) {
  const auto m = b.material({.pattern = Pattern::sign,
                             .base = s.ground,
                             .second = s.letters,
                             .text = std::string(s.text)});
  b.enter(place);
  b.box({-0.5F * s.width, -0.5F * s.height, 0}, {0.5F * s.width, 0.5F * s.height, 0.02F}, m);
  b.leave();
}

void notice(Builder& b, const Place& place, float width, float height, std::string_view heading,
            float line_m) {
  const auto m = b.material({.pattern = Pattern::notice,
                             .base = {0.74F, 0.71F, 0.62F},
                             .second = {0.07F, 0.07F, 0.09F},
                             .scale_m = line_m,
                             .text = std::string(heading)});
  b.enter(place);
  b.box({-0.5F * width, -0.5F * height, 0}, {0.5F * width, 0.5F * height, 0.006F}, m);
  b.leave();
}

void clock(Builder& b, const Palette& p, const Place& place, float size) {
  const auto m = b.material({.pattern = Pattern::clock_face,
                             .base = {0.72F, 0.7F, 0.62F},
                             .second = {0.05F, 0.05F, 0.06F},
                             .third = {0.2F, 0.1F, 0.05F}});
  b.enter(place);
  b.box({-0.5F * size, -0.5F * size, 0}, {0.5F * size, 0.5F * size, 0.05F},
        {p.walnut, p.walnut, p.walnut, p.walnut, m, p.walnut});
  b.leave();
}

Float3 pendant(Builder& b, const Palette& p, const Place& place, float drop) {
  b.enter(place);
  b.cylinder({0, -drop, 0}, {0, 0, 0}, 0.006F, p.iron);
  b.cylinder({0, -0.03F, 0}, {0, 0, 0}, 0.06F, p.brass);
  b.cylinder({0, -drop + 0.04F, 0}, {0, -drop + 0.055F, 0}, 0.2F, p.brass);
  const Float3 middle = {0, -drop - 0.03F, 0};
  b.ellipsoid(middle, {0.075F, 0.075F, 0.075F}, p.lamp_globe);
  b.cast_no_shadow();
  const Float3 world = b.to_world(middle);
  b.leave();
  return world;
}

void table_lamp(Builder& b, const Palette& p, const Place& place) {
  b.enter(place);
  b.cylinder({0, 0, 0}, {0, 0.02F, 0}, 0.08F, p.brass);
  b.ellipsoid({0, 0.12F, 0}, {0.07F, 0.1F, 0.07F}, p.blue_china);
  b.cylinder({0, 0.2F, 0}, {0, 0.28F, 0}, 0.012F, p.brass);
  b.cylinder({0, 0.27F, 0}, {0, 0.47F, 0}, 0.14F, p.lamp_shade);
  b.cast_no_shadow();
  b.leave();
}

void floor_lamp(Builder& b, const Palette& p, const Place& place) {
  b.enter(place);
  b.cylinder({0, 0, 0}, {0, 0.03F, 0}, 0.15F, p.iron);
  b.cylinder({0, 0.03F, 0}, {0, 1.5F, 0}, 0.014F, p.brass);
  b.cylinder({0, 1.32F, 0}, {0, 1.6F, 0}, 0.2F, p.lamp_shade);
  b.cast_no_shadow();
  b.leave();
}

void plant(Builder& b, const Palette& p, const Place& place, float height) {
  b.enter(place);
  const float pot = 0.3F * height;
  b.cylinder({0, 0, 0}, {0, pot, 0}, 0.55F * pot, p.terracotta, p.dark_wood);
  b.cylinder({0, pot, 0}, {0, 0.65F * height, 0}, 0.02F, p.oak);
  const auto seed = static_cast<std::uint32_t>(b.scene().shapes.size());
  for (int i = 0; i < 46; ++i) {
    const float a = lattice_unit(i, 0, seed) - 0.5F;
    const float c = lattice_unit(i, 1, seed) - 0.5F;
    const float h = lattice_unit(i, 2, seed);
    const float r = (0.03F + 0.05F * lattice_unit(i, 3, seed)) * height;
    b.ellipsoid({0.55F * height * a, (0.55F + 0.42F * h) * height, 0.55F * height * c},
                {r, 0.3F * r, 0.8F * r}, p.leaves);
  }
  b.leave();
}

void vase(Builder& b, const Palette& p, const Place& place, float height) {
  b.enter(place);
  const float h = 0.5F * height;
  b.ellipsoid({0, 0.45F * h, 0}, {0.4F * h, 0.45F * h, 0.4F * h}, p.glazed_red);
  b.cylinder({0, 0.8F * h, 0}, {0, 1.1F * h, 0}, 0.2F * h, p.glazed_red, p.dark_wood);
  const auto seed = static_cast<std::uint32_t>(b.scene().shapes.size());
  for (int i = 0; i < 9; ++i) {
    const float a = lattice_unit(i, 0, seed) - 0.5F;
    const float c = lattice_unit(i, 1, seed) - 0.5F;
    const float top = (1.35F + 0.6F * lattice_unit(i, 2, seed)) * h;
    b.cylinder({0, 1.05F * h, 0}, {0.9F * h * a, top, 0.9F * h * c}, 0.006F, p.leaves);
    b.ellipsoid({0.9F * h * a, top, 0.9F * h * c}, {0.14F * h, 0.1F * h, 0.14F * h}, p.blossoms);
  }
  b.leave();
}

void breakfast_setting(Builder& b, const Palette& p, const Place& place) {
  b.enter(place);
  b.cylinder({0, 0, 0}, {0, 0.008F, 0}, 0.13F, p.china);
  b.cylinder({0, 0.008F, 0}, {0, 0.012F, 0}, 0.09F, p.blue_china);
  b.ellipsoid({0.02F, 0.035F, 0.01F}, {0.055F, 0.028F, 0.04F}, p.bread);
  b.cylinder({0.2F, 0, 0.1F}, {0.2F, 0.006F, 0.1F}, 0.07F, p.china);
  b.cylinder({0.2F, 0.006F, 0.1F}, {0.2F, 0.075F, 0.1F}, 0.04F, p.glazed_red, p.dark_wood);
  for (const float x : {-0.17F, -0.2F}) {
    b.box({x, 0, -0.1F}, {x + 0.014F, 0.004F, 0.1F}, p.white_metal);
  }
  b.box({-0.29F, 0, -0.08F}, {-0.215F, 0.012F, 0.08F}, p.wine_cloth);
  b.leave();
}

void coat_stand(Builder& b, const Palette& p, const Place& place) {
  b.enter(place);
  b.cylinder({0, 0, 0}, {0, 1.8F, 0}, 0.025F, p.walnut);
  b.cylinder({0, 0, 0}, {0, 0.04F, 0}, 0.22F, p.walnut);
  for (int i = 0; i < 4; ++i) {
    const float x = (i & 1) != 0 ? 0.15F : -0.15F;
    const float z = (i & 2) != 0 ? 0.12F : -0.12F;
    b.cylinder({0, 1.62F, 0}, {x, 1.74F, z}, 0.012F, p.brass);
  }
  b.ellipsoid({-0.15F, 1.25F, -0.12F}, {0.15F, 0.45F, 0.1F}, p.grey_cloth);
  b.ellipsoid({0.16F, 1.3F, 0.1F}, {0.13F, 0.4F, 0.11F}, p.green_cloth);
  b.ellipsoid({0.0F, 1.83F, 0.0F}, {0.16F, 0.03F, 0.16F}, p.ochre_cloth);
  b.ellipsoid({0.0F, 1.87F, 0.0F}, {0.09F, 0.07F, 0.09F}, p.ochre_cloth);
  b.leave();
}

void suitcase(Builder& b, const Place& place, MaterialId shell, MaterialId straps) {
  b.enter(place);
  b.box({-0.33F, 0.0F, -0.1F}, {0.33F, 0.45F, 0.1F}, shell);
  for (const float x : {-0.2F, 0.2F}) {
    b.box({x - 0.02F, -0.0F, -0.105F}, {x + 0.02F, 0.455F, 0.105F}, straps);
  }
  b.cylinder({-0.07F, 0.48F, 0}, {0.07F, 0.48F, 0}, 0.014F, straps);
  b.leave();
}

void book_pile(Builder& b, const Palette& p, const Place& place, int count) {
  b.enter(place);
  const auto seed = static_cast<std::uint32_t>(b.scene().shapes.size());
  const std::array<MaterialId, 4> covers = {p.wine_cloth, p.green_cloth, p.ochre_cloth,
                                            p.grey_cloth};
  float h = 0;
  for (int i = 0; i < count; ++i) {
    const float thick = 0.02F + 0.025F * lattice_unit(i, 0, seed);
    b.enter({0, h, 0, 30.0F * (lattice_unit(i, 1, seed) - 0.5F)});
    b.box({-0.09F, 0, -0.12F}, {0.09F, thick, 0.12F},
          covers[lattice_hash(i, 2, seed) % covers.size()]);
    b.leave();
    h += thick;
  }
  b.leave();
}

void door_frame(Builder& b, const Place& place, float width, float height, float wall_m,
                MaterialId wood) {
  b.enter(place);
  const float half = 0.5F * width;
  const float deep = 0.5F * wall_m + 0.025F;
  b.box({-half - 0.09F, 0, -deep}, {-half + 0.015F, height + 0.09F, deep}, wood);
  b.box({half - 0.015F, 0, -deep}, {half + 0.09F, height + 0.09F, deep}, wood);
  b.box({-half + 0.015F, height - 0.015F, -deep}, {half - 0.015F, height + 0.09F, deep}, wood);
  b.leave();
}

void door_leaf(Builder& b, const Palette& p, const Place& place, float width, float height,
               MaterialId face) {
  b.enter(place);
  b.box({0, 0.01F, -0.02F}, {width, height, 0.02F}, {p.oak, p.oak, p.oak, p.oak, face, face});
  for (const float z : {-0.05F, 0.05F}) {
    b.ellipsoid({width - 0.08F, 1.02F, z}, {0.03F, 0.03F, 0.025F}, p.brass);
  }
  b.leave();
}

void window_bars(Builder& b, const Place& place, float width, float height, const Panes& panes,
                 MaterialId wood) {
  b.enter(place);
  bars_around(b, width - 0.1F, height - 0.1F, 0.06F, 0.05F, wood);
  for (int i = 1; i < panes.columns; ++i) {
    const float x = width * (static_cast<float>(i) / static_cast<float>(panes.columns) - 0.5F);
    b.box({x - 0.018F, -0.5F * height, 0.01F}, {x + 0.018F, 0.5F * height, 0.04F}, wood);
  }
  for (int i = 1; i < panes.rows; ++i) {
    const float h = height * (static_cast<float>(i) / static_cast<float>(panes.rows) - 0.5F);
    b.box({-0.5F * width, h - 0.015F, 0.012F}, {0.5F * width, h + 0.015F, 0.038F}, wood);
  }
  b.box({-0.5F * width - 0.06F, -0.5F * height - 0.04F, -0.02F},
        {0.5F * width + 0.06F, -0.5F * height, 0.2F}, wood);
  b.leave();
}

void curtains(Builder& b, const Palette& p, const Place& place, float width, float height) {
  b.enter(place);
  b.cylinder({-0.65F * width, 0.5F * height, 0.08F}, {0.65F * width, 0.5F * height, 0.08F}, 0.014F,
             p.brass);
  for (const float side : {-1.0F, 1.0F}) {
    const float middle = side * 0.52F * width;
    for (int fold = 0; fold < 4; ++fold) {
      const float x = middle + 0.085F * (static_cast<float>(fold) - 1.5F);
      b.cylinder({x, -0.62F * height, 0.08F}, {x, 0.5F * height, 0.08F}, 0.048F, p.curtain);
    }
  }
  b.leave();
}

}  // namespace seamwright::demo
