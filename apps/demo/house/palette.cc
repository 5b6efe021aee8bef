#include "apps/demo/house/palette.h"

namespace seamwright::demo {
namespace {

MaterialId wood(Builder& b, const Rgb& dark, const Rgb& light) {
  return b.material({.pattern = Pattern::wood, .base = dark, .second = light, .per_shape = true});
}

MaterialId metal(Builder& b, const Rgb& colour, float contrast = 1) {
  return b.material(
      {.pattern = Pattern::metal, .base = colour, .contrast = contrast, .per_shape = true});
}

MaterialId cloth(Builder& b, const Rgb& base, const Rgb& second, float scale_m) {
  return b.material({.pattern = Pattern::fabric,
                     .base = base,
                     .second = second,
                     .scale_m = scale_m,
                     .per_shape = true});
}

MaterialId plaster(Builder& b, const Rgb& colour, float contrast) {
  return b.material({.pattern = Pattern::plaster, .base = colour, .contrast = contrast});
}

void add_building(Builder& b, Palette& p) {
  p.ceiling = plaster(b, {0.8F, 0.79F, 0.75F}, 1.3F);
  p.white_plaster = plaster(b, {0.75F, 0.74F, 0.7F}, 1.6F);
  p.cream_plaster = plaster(b, {0.72F, 0.64F, 0.48F}, 1.7F);
  p.facade = b.material({.pattern = Pattern::facade,
                         .base = {0.6F, 0.48F, 0.3F},
                         .second = {0.07F, 0.2F, 0.16F},
                         .third = {0.7F, 0.68F, 0.62F},
                         .scale_m = 2.6F,
                         .contrast = 2.5F});
  p.brick = b.material({.pattern = Pattern::brick,
                        .base = {0.42F, 0.16F, 0.1F},
                        .second = {0.5F, 0.26F, 0.16F},
                        .third = {0.55F, 0.52F, 0.46F},
                        .scale_m = 0.25F});
  p.roof = b.material({.pattern = Pattern::roof,
                       .base = {0.36F, 0.15F, 0.1F},
                       .second = {0.25F, 0.12F, 0.09F},
                       .scale_m = 0.35F});
  p.stone =
      b.material({.pattern = Pattern::plaster, .base = {0.45F, 0.43F, 0.39F}, .contrast = 4.5F});
}

void add_cloth(Builder& b, Palette& p) {
  p.linen = cloth(b, {0.72F, 0.7F, 0.64F}, {0.68F, 0.66F, 0.6F}, 0.02F);
  p.red_check = cloth(b, {0.74F, 0.7F, 0.64F}, {0.5F, 0.06F, 0.06F}, 0.06F);
  p.blue_check = cloth(b, {0.7F, 0.7F, 0.68F}, {0.08F, 0.16F, 0.4F}, 0.05F);
  p.green_cloth = cloth(b, {0.08F, 0.2F, 0.12F}, {0.14F, 0.28F, 0.16F}, 0.012F);
  p.ochre_cloth = cloth(b, {0.5F, 0.34F, 0.1F}, {0.6F, 0.44F, 0.2F}, 0.03F);
  p.wine_cloth = cloth(b, {0.3F, 0.05F, 0.08F}, {0.4F, 0.12F, 0.12F}, 0.024F);
  p.grey_cloth = cloth(b, {0.2F, 0.21F, 0.24F}, {0.36F, 0.36F, 0.38F}, 0.04F);
  p.curtain = b.material({.pattern = Pattern::curtain,
                          .base = {0.45F, 0.12F, 0.09F},
                          .second = {0.6F, 0.45F, 0.15F},
                          .scale_m = 0.11F,
                          .per_shape = true});
  p.sheer_curtain = b.material({.pattern = Pattern::curtain,
                                .base = {0.9F, 0.9F, 0.86F},
                                .second = {0.7F, 0.7F, 0.75F},
                                .scale_m = 0.14F,
                                .emission = 5.5F});
}

void add_things(Builder& b, Palette& p) {
  p.china = metal(b, {0.78F, 0.77F, 0.74F}, 0.3F);
  p.blue_china = metal(b, {0.16F, 0.26F, 0.5F}, 0.8F);
  p.glazed_red = metal(b, {0.5F, 0.09F, 0.06F}, 0.8F);
  p.terracotta = metal(b, {0.5F, 0.22F, 0.12F}, 1.4F);
  p.bread = metal(b, {0.55F, 0.33F, 0.13F}, 2.5F);
  p.paper = b.material({.pattern = Pattern::notice,
                        .base = {0.74F, 0.72F, 0.66F},
                        .second = {0.08F, 0.08F, 0.1F},
                        .scale_m = 0.014F,
                        .per_shape = true,
                        .text = "NOTES"});
  p.leaves = b.material({.pattern = Pattern::leaves,
                         .base = {0.04F, 0.09F, 0.025F},
                         .second = {0.17F, 0.27F, 0.08F},
                         .third = {0.08F, 0.13F, 0.03F},
                         .scale_m = 0.12F,
                         .per_shape = true});
  p.blossoms = b.material({.pattern = Pattern::leaves,
                           .base = {0.55F, 0.1F, 0.2F},
                           .second = {0.75F, 0.5F, 0.3F},
                           .third = {0.4F, 0.1F, 0.4F},
                           .scale_m = 0.05F,
                           .per_shape = true});
  p.books = b.material({.pattern = Pattern::books, .scale_m = 0.042F, .per_shape = true});
  p.painting = b.material({.pattern = Pattern::painting,
                           .base = {0.7F, 0.68F, 0.6F},
                           .second = {0.4F, 0.35F, 0.25F},
                           .scale_m = 0.05F,
                           .per_shape = true});
  p.panelled_door = b.material({.pattern = Pattern::panelled_door,
                                .base = {0.52F, 0.5F, 0.43F},
                                .second = {0.62F, 0.6F, 0.53F},
                                .per_shape = true});
  p.dark_door = b.material({.pattern = Pattern::panelled_door,
                            .base = {0.12F, 0.055F, 0.03F},
                            .second = {0.26F, 0.13F, 0.06F},
                            .per_shape = true});
  p.lamp_globe =
      b.material({.pattern = Pattern::glow, .base = {1.0F, 0.88F, 0.68F}, .emission = 7});
  p.lamp_shade = b.material({.pattern = Pattern::curtain,
                             .base = {0.95F, 0.75F, 0.45F},
                             .second = {0.5F, 0.2F, 0.1F},
                             .scale_m = 0.03F,
                             .per_shape = true,
                             .emission = 1.6F});
}

}  // namespace

Palette make_palette(Builder& b) {
  Palette p{};
  p.oak = wood(b, {0.28F, 0.16F, 0.07F}, {0.5F, 0.34F, 0.18F});
  p.walnut = wood(b, {0.12F, 0.06F, 0.03F}, {0.3F, 0.17F, 0.09F});
  p.pine = wood(b, {0.48F, 0.31F, 0.14F}, {0.66F, 0.5F, 0.28F});
  p.painted_wood = wood(b, {0.6F, 0.6F, 0.55F}, {0.72F, 0.71F, 0.66F});
  p.dark_wood = wood(b, {0.06F, 0.04F, 0.03F}, {0.15F, 0.09F, 0.06F});
  p.brass = metal(b, {0.55F, 0.38F, 0.13F});
  p.iron = metal(b, {0.07F, 0.07F, 0.08F});
  p.white_metal = metal(b, {0.68F, 0.68F, 0.66F}, 0.6F);
  add_building(b, p);
  add_cloth(b, p);
  add_things(b, p);
  return p;
}

}  // namespace seamwright::demo
