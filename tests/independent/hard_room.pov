// A room of what is hard to join, for POV-Ray 3.7: thin things a step away before tiles, brick and
// rows of books, a mirror, a pane of glass, leaves, a cable, somebody in a chequered shirt.
// Metres; x to the right, y up, z ahead.
//
//   Declare=Stand=5…7, View=0…2, Depth=0|1: as room.pov has them
#version 3.7;
global_settings { assumed_gamma 1.0 max_trace_level 6 }
#include "stands.inc"
#include "view.inc"
#include "surfaces.inc"

// --- light -------------------------------------------------------------------------------------

#if (Lit)
  light_source { <2.9, 2.45, 3.1> rgb <1.0, 0.88, 0.7> * 0.8 fade_distance 1.6 fade_power 2 }
  light_source { <1.2, 2.4, 0.9> rgb <1.0, 0.9, 0.75> * 0.8 fade_distance 1.6 fade_power 2 }
  light_source { <4.25, 1.7, 2.4> rgb <0.82, 0.93, 1.0> * 0.9 fade_distance 1.5 fade_power 2 }
  light_source { <-40, 75, 20> rgb <1.0, 0.93, 0.8> * 1.1 } // the sun, outside
#end

#declare Width = 4.4;  // x
#declare Length = 4.2; // z
#declare Height = 2.6;

// --- floor, walls, ceiling ---------------------------------------------------------------------

#macro Joint(Way, Share) // between the tiles of a layer below
  texture {
    pigment { gradient Way color_map { [0 rgb 0.1] [Share rgb 0.1] [Share rgb 1 transmit 1] [1 rgb 1 transmit 1] } scale 0.1 }
  }
#end
#declare Clay = pigment { granite scale 0.3 color_map { [0 rgb <0.30, 0.15, 0.09>] [1 rgb <0.46, 0.27, 0.17>] } }
#declare Slate = pigment { granite scale 0.3 color_map { [0 rgb <0.42, 0.40, 0.34>] [1 rgb <0.62, 0.60, 0.52>] } }
box { // tiles
  <0, -0.02, 0>, <Width, 0, Length>
  texture { pigment { checker pigment { Clay }, pigment { Slate } scale 0.1 translate -0.01 * y } }
  Joint(x, 0.045)
  Joint(z, 0.045)
}
#declare Bricks = texture {
  pigment { brick pigment { rgb <0.5, 0.47, 0.42> }, pigment { bozo scale 0.11 color_map { [0 rgb <0.24, 0.09, 0.05>] [1 rgb <0.46, 0.21, 0.13>] } } brick_size <0.22, 0.065, 0.11> mortar 0.01 }
}
difference { // walls with a window to the right
  box { <-0.2, -0.02, 0>, <Width + 0.2, Height + 0.2, Length + 0.2> }
  box { <0, -0.1, -0.1>, <Width, Height, Length> }
  box { <Width - 0.1, 0.9, 1.1>, <Width + 0.3, 2.15, 2.9> }
  texture { Plaster }
}
box { <0, 0, -0.2>, <Width, Height, 0> texture { Bricks } }
#declare Row = 0;
#while (Row < 44) // boards above
  box { <0, Height - 0.001, 0.1 * Row + 0.004>, <Width, Height + 0.05, 0.1 * Row + 0.098> texture { Oak rotate 90 * z scale Between(0.9, 1.2) translate Row * 1.7 * y } }
  #declare Row = Row + 1;
#end
plane { -y, -Height - 0.02 texture { Walnut } }
box { <0, Height - 0.14, 1.5>, <Width, Height, 1.62> texture { Walnut rotate 90 * z } }
box { <0, Height - 0.14, 2.9>, <Width, Height, 3.02> texture { Walnut rotate 90 * z } }

// --- window, blinds, brick outside -------------------------------------------------------------

sky_sphere { pigment { gradient y color_map { [0 rgb <1.2, 1.4, 1.6> * Lit] [0.5 rgb <0.7, 1.0, 1.5> * Lit] } } }
box { <7.5, -3, -6>, <8, 6, 9> texture { Bricks rotate 90 * y scale 1.6 finish { ambient 0.35 * Lit } } }
plane { y, -3 texture { pigment { rgb 0.2 } finish { ambient 0.3 * Lit } } }
union {
  box { <4.3, 0.86, 1.05>, <4.44, 0.9, 2.95> }
  box { <4.4, 0.9, 1.98>, <4.44, 2.15, 2.02> }
  texture { Paint }
}
#declare Slat = 0;
#while (Slat < 34)
  box { <-0.0125, -0.0009, 1.12>, <0.0125, 0.0009, 2.88> rotate 38 * z translate <4.33, 0.95 + 0.035 * Slat, 0> texture { Paint } }
  #declare Slat = Slat + 1;
#end
#declare Cord = 0;
#while (Cord < 4)
  cylinder { <4.315, 0.93, 1.3 + 0.46 * Cord>, <4.315, 2.15, 1.3 + 0.46 * Cord>, 0.002 texture { Linen } }
  #declare Cord = Cord + 1;
#end
#if (Lit) // a pane on a frame
  box { <3.62, 1.0, 1.75>, <3.625, 1.85, 2.35> pigment { rgb 1 transmit 0.93 } finish { ambient 0 diffuse 0.05 reflection 0.12 } no_shadow }
#end
union {
  box { <3.61, 0.97, 1.73>, <3.64, 1.0, 2.37> }
  box { <3.61, 1.85, 1.73>, <3.64, 1.88, 2.37> }
  box { <3.61, 0, 1.73>, <3.64, 1.88, 1.75> }
  box { <3.61, 0, 2.35>, <3.64, 1.88, 2.37> }
  texture { Brass }
}

// --- thin things -------------------------------------------------------------------------------

#macro Spindles(Wide, Number, Thick) // a chair's back, in the plane z = 0, from the seat up
  union {
    #local Rod = 0;
    #while (Rod < Number)
      cylinder { <Wide * (Rod / (Number - 1) - 0.5), 0.45, 0>, <1.06 * Wide * (Rod / (Number - 1) - 0.5), 0.99, 0>, Thick }
      #local Rod = Rod + 1;
    #end
    sphere_sweep { linear_spline 3 <-0.56 * Wide, 0.98, 0.01>, 0.018 <0, 1.01, -0.015>, 0.018 <0.56 * Wide, 0.98, 0.01>, 0.018 }
    box { <-0.54 * Wide, 0.42, -0.38>, <0.54 * Wide, 0.455, 0.03> }
    cylinder { <-0.5 * Wide, 0, -0.36>, <-0.46 * Wide, 0.43, -0.32>, 0.015 }
    cylinder { <0.5 * Wide, 0, -0.36>, <0.46 * Wide, 0.43, -0.32>, 0.015 }
    cylinder { <-0.5 * Wide, 0, 0.04>, <-0.46 * Wide, 0.43, 0>, 0.015 }
    cylinder { <0.5 * Wide, 0, 0.04>, <0.46 * Wide, 0.43, 0>, 0.015 }
  }
#end
object { Spindles(0.42, 9, 0.007) rotate 90 * y translate <2.62, 0, 2.0> texture { Oak } }
object { Spindles(0.40, 7, 0.009) rotate 180 * y translate <3.2, 0, 1.75> texture { Walnut } }

object { Spindles(0.44, 11, 0.006) rotate 152 * y translate <2.32, 0, 2.50> texture { Oak } }
#declare Lath = 0;
#while (Lath < 12) // a lattice before more bricks
  cylinder { <0.95, 0.1 + 0.15 * Lath, 3.72>, <1.95, 0.1 + 0.15 * Lath, 3.72>, 0.006 texture { Paint } }
  cylinder { <0.95 + 0.09 * Lath, 0.02, 3.73>, <0.95 + 0.09 * Lath, 1.85, 3.73>, 0.006 texture { Paint } }
  #declare Lath = Lath + 1;
#end
box { <0.7, 0, Length - 0.012>, <2.4, 2.1, Length - 0.01> texture { Bricks } }

cylinder { <2.36, 2.02, 2.01>, <2.36, 2.6, 2.01>, 0.0025 texture { Iron } } // a lamp on its cable
cone { <2.36, 1.88, 2.01>, 0.11, <2.36, 2.03, 2.01>, 0.03 open texture { pigment { rgb <0.5, 0.12, 0.06> } } }
sphere { <2.36, 1.91, 2.01>, 0.03 texture { pigment { rgb 1 } finish { emission 2 * Lit } } no_shadow }
sphere_sweep { // another along the bricks
  cubic_spline 6 <3.5, 3, 0.02>, 0.0025 <3.4, 2.6, 0.02>, 0.0025 <3.22, 1.9, 0.12>, 0.0025 <3.17, 1.2, 0.14>, 0.0025 <3.3, 0.4, 0.03>, 0.0025 <3.4, 0, 0.02>, 0.0025
  texture { Iron }
}

#macro Plant(Place, Leaves, Tall)
  cone { Place, 0.09, Place + 0.2 * y, 0.13 texture { pigment { rgb <0.45, 0.2, 0.12> } } }
  #local Leaf = 0;
  #while (Leaf < Leaves)
    #local Off = Between(8, 62);
    #local Around = Between(0, 360);
    #local Long = Between(0.55, 1) * Tall;
    union {
      cylinder { 0, 0.6 * Long * y, 0.003 }
      sphere { 0, 1 scale <0.14, 0.45, 0.02> * 0.45 * Long translate 0.78 * Long * y }
      rotate Off * x rotate Around * y translate Place + 0.18 * y
      texture { pigment { rgb <0.09, Between(0.2, 0.42), 0.05> } }
    }
    #local Leaf = Leaf + 1;
  #end
#end
Plant(<1.45, 0.25, 1.95>, 30, 0.6)
box { <1.3, 0, 1.8>, <1.6, 0.25, 2.1> texture { Walnut } }
Plant(<3.12, 0.55, 0.4>, 26, 0.5)
box { <2.98, 0.5, 0.25>, <3.26, 0.55, 0.55> texture { Oak } }
cylinder { <3.12, 0, 0.4>, <3.12, 0.5, 0.4>, 0.02 texture { Iron } }

// --- somebody in a chequered shirt --------------------------------------------------------------

#declare Shirt = texture { pigment { checker rgb <0.55, 0.09, 0.08>, rgb <0.62, 0.58, 0.5> scale 0.028 } }
union {
  superellipsoid { <0.8, 0.45> scale <0.12, 0.2, 0.31> translate 1.17 * y texture { Shirt } }
  sphere_sweep { linear_spline 3 <0, 1.4, -0.2>, 0.06 <0.03, 1.15, -0.28>, 0.05 <0.14, 0.95, -0.22>, 0.042 texture { Shirt } }
  sphere_sweep { linear_spline 3 <0, 1.4, 0.2>, 0.06 <0.02, 1.15, 0.28>, 0.05 <0.1, 0.93, 0.25>, 0.042 texture { Shirt } }
  cone { <0, 0.03, -0.1>, 0.06, <0, 0.9, -0.08>, 0.085 texture { Mottled(<0.03, 0.05, 0.12>, <0.09, 0.12, 0.24>, 0.1) } }
  cone { <0, 0.03, 0.1>, 0.06, <0, 0.9, 0.08>, 0.085 texture { Mottled(<0.03, 0.05, 0.12>, <0.09, 0.12, 0.24>, 0.1) } }
  cylinder { 1.42 * y, 1.55 * y, 0.05 texture { pigment { rgb <0.55, 0.36, 0.27> } } }
  sphere { 0, 1 scale <0.095, 0.125, 0.085> translate 1.63 * y texture { pigment { rgb <0.58, 0.38, 0.28> } } }
  sphere { 0, 1 scale <0.1, 0.1, 0.095> translate <-0.015, 1.69, 0> texture { Mottled(<0.05, 0.03, 0.02>, <0.14, 0.08, 0.04>, 0.03) } }
  box { <0.08, 1.645, -0.05>, <0.1, 1.665, -0.02> texture { Iron } }
  box { <0.08, 1.645, 0.02>, <0.1, 1.665, 0.05> texture { Iron } }
  translate <1.1, 0, 2.05>
}

// --- walls' things ------------------------------------------------------------------------------

union {
  Shelf(<0, 0, 0>, 2.6, 6)
  rotate -90 * y
  translate <0.31, 0, 0.8>
}
box { <2.75, 0.95, Length - 0.03>, <3.65, 1.95, Length - 0.01> texture { Walnut } }
box { <2.8, 1.0, Length - 0.032>, <3.6, 1.9, Length - 0.03> pigment { rgb 0.02 } finish { ambient 0 diffuse 0.1 reflection 0.86 * Lit } }
#declare Rib = 0;
#while (Rib < 14)
  box { <2.7 + 0.07 * Rib, 0.15, Length - 0.14>, <2.745 + 0.07 * Rib, 0.75, Length - 0.04> texture { Paint } }
  #declare Rib = Rib + 1;
#end
