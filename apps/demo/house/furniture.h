#pragma once

// Pieces of furniture. Each stands with the middle of its back or base at `place` and faces +z of
// it; sizes in metres.

#include <string_view>

#include "apps/demo/house/palette.h"

namespace seamwright::demo {

struct Bookcase {
  float width = 1.0F, height = 2.1F, depth = 0.27F;
  int shelves = 6;
};
void bookcase(Builder& b, const Palette& p, const Place& place, const Bookcase& size);
void table(Builder& b, const Place& place, const Float3& size, MaterialId top, MaterialId legs);
void round_table(Builder& b, const Place& place, float radius, MaterialId top, MaterialId foot);
void chair(Builder& b, const Place& place, MaterialId wood, MaterialId seat);
void armchair(Builder& b, const Place& place, MaterialId cloth, MaterialId feet);
void wardrobe(Builder& b, const Palette& p, const Place& place, const Float3& size);
void bed(Builder& b, const Palette& p, const Place& place, const Float3& size);
void stairs(Builder& b, const Palette& p, const Place& place, int steps);

/// A picture on a wall, its middle at `place`.
void picture(Builder& b, const Palette& p, const Place& place, float width, float height,
             MaterialId frame);
/// A lettered board on a wall, its middle at `place`.
struct Sign {
  float width = 0.6F, height = 0.2F;
  std::string_view text;
  Rgb ground = {0.07F, 0.15F, 0.12F};
  Rgb letters = {0.75F, 0.6F, 0.28F};
};
void sign(Builder& b, const Place& place, const Sign& sign);
void notice(Builder& b, const Place& place, float width, float height, std::string_view heading,
            float line_m);
void clock(Builder& b, const Palette& p, const Place& place, float size);

struct RugColours {
  Rgb ground;
  Rgb field;
  Rgb heart;
};
void rug(Builder& b, const Place& place, float width, float depth, const RugColours& colours);
/// `place` is where the cord meets the ceiling; returns the lamp's middle in the world.
Float3 pendant(Builder& b, const Palette& p, const Place& place, float drop);
void table_lamp(Builder& b, const Palette& p, const Place& place);
void floor_lamp(Builder& b, const Palette& p, const Place& place);
void plant(Builder& b, const Palette& p, const Place& place, float height);
void vase(Builder& b, const Palette& p, const Place& place, float height);
void breakfast_setting(Builder& b, const Palette& p, const Place& place);
void radiator(Builder& b, const Palette& p, const Place& place, float width);
void coat_stand(Builder& b, const Palette& p, const Place& place);
void suitcase(Builder& b, const Place& place, MaterialId shell, MaterialId straps);
void book_pile(Builder& b, const Palette& p, const Place& place, int count);
void bench(Builder& b, const Palette& p, const Place& place);

/// Frame around a doorway of width × height whose middle on the floor is `place`, in a wall of the
/// given thickness; both sides show it.
void door_frame(Builder& b, const Place& place, float width, float height, float wall_m,
                MaterialId wood);
/// A door leaf hinged at `place`, reaching `width` along +x.
void door_leaf(Builder& b, const Palette& p, const Place& place, float width, float height,
               MaterialId face);
struct Panes {
  int columns = 1;
  int rows = 1;
};
/// Sash bars and a sill for a window whose middle is `place`.
void window_bars(Builder& b, const Place& place, float width, float height, const Panes& panes,
                 MaterialId wood);
/// A pair of curtains on a rod in front of a window whose middle is `place`.
void curtains(Builder& b, const Palette& p, const Place& place, float width, float height);

}  // namespace seamwright::demo
