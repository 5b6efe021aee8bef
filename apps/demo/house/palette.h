#pragma once

#include "apps/demo/house/builder.h"

namespace seamwright::demo {

/// Materials that more than one room uses.
struct Palette {
  MaterialId oak, walnut, pine, painted_wood, dark_wood;
  MaterialId brass, iron, white_metal;
  MaterialId ceiling, white_plaster, cream_plaster;
  MaterialId facade, brick, roof, stone;
  MaterialId china, blue_china, glazed_red, terracotta, paper;
  MaterialId linen, red_check, blue_check, green_cloth, ochre_cloth, wine_cloth, grey_cloth;
  MaterialId leaves, blossoms, bread;
  MaterialId books, painting, panelled_door, dark_door;
  MaterialId lamp_globe, lamp_shade;
  MaterialId curtain, sheer_curtain;
};

Palette make_palette(Builder& b);

}  // namespace seamwright::demo
