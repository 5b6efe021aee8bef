// A room of an invented guest house for POV-Ray 3.7. Metres; x to the right, y up, z ahead.
//
//   Declare=Stand=1…4   where the body stands (stands.inc)
//   Declare=View=0…2    what lens 0 sees, what lens 1 sees (equidistant fisheyes), or an upright
//                       panorama from the middle between the pupils
//   Declare=Depth=0|1   1: 1 − exp(−distance / 4 m) instead of light
//
// All light is linear. Nothing is random from picture to picture.
#version 3.7;
global_settings { assumed_gamma 1.0 max_trace_level 3 }
#include "stands.inc"
#include "view.inc"
#include "surfaces.inc"

// --- light -------------------------------------------------------------------------------------

#if (Lit)
  light_source {
    <2.6, 2.25, 2.1> rgb <1.0, 0.86, 0.66> * 1.15
    area_light 0.3 * x, 0.3 * z, 3, 3 adaptive 0
    fade_distance 1.6 fade_power 2
  }
  light_source { // the sky through the window
    <5.15, 1.6, 2.5> rgb <0.82, 0.93, 1.0> * 1.9
    area_light 1.0 * z, 1.0 * y, 3, 3 adaptive 0
    fade_distance 1.5 fade_power 2
  }
  light_source { <60, 75, 20> rgb <1.0, 0.93, 0.8> * 9 } // the sun, outside
#end

// --- floor, walls, ceiling ---------------------------------------------------------------------

#declare Width = 5.2;  // x
#declare Length = 4.4; // z
#declare Height = 2.7;

#declare Row = 0;
#while (Row < 31) // boards, each of its own tone, with joints between them
  #declare Begin = -Between(0, 1.2);
  #while (Begin < Length)
    #declare Long = Between(0.8, 1.6);
    #declare Tone = Between(0.65, 1.2);
    box {
      <0.17 * Row + 0.004, -0.02, max(0, Begin + 0.004)>, <0.17 * Row + 0.166, 0, min(Length, Begin + Long)>
      texture { Wood(<0.15, 0.075, 0.03> * Tone, <0.33, 0.19, 0.09> * Tone) rotate 90 * x translate <Between(0, 9), 0, Between(0, 9)> }
    }
    #declare Begin = Begin + Long;
  #end
  #declare Row = Row + 1;
#end
plane { y, -0.015 texture { Walnut } }

difference { // walls with a window to the right and a doorway behind
  box { <-0.2, -0.02, -0.2>, <Width + 0.2, Height + 0.2, Length + 0.2> }
  box { <0, -0.1, 0>, <Width, Height, Length> }
  box { <Width - 0.1, 0.95, 1.75>, <Width + 0.3, 2.15, 3.25> }
  texture { Plaster }
}
box { <0, Height - 0.001, 0>, <Width, Height + 0.1, Length> texture { Ceiling } }
#declare Row = 0;
#while (Row < 4) // beams
  box { <0, Height - 0.14, 0.55 + 1.08 * Row>, <Width, Height, 0.70 + 1.08 * Row> texture { Oak rotate 90 * z translate Row * 3 * y } }
  #declare Row = Row + 1;
#end
#macro Skirting(From, To) box { From, To texture { Paint } } #end
Skirting(<0, 0, 0>, <0.02, 0.11, Length>)
Skirting(<0, 0, Length - 0.02>, <Width, 0.11, Length>)
Skirting(<Width - 0.02, 0, 0>, <Width, 0.11, Length>)
Skirting(<0, 0, 0>, <Width, 0.11, 0.02>)

// --- window, and what is outside ---------------------------------------------------------------

union {
  box { <5.13, 0.93, 1.68>, <5.24, 1.0, 3.32> } // sill
  box { <5.17, 1.0, 1.72>, <5.24, 2.18, 1.80> }
  box { <5.17, 1.0, 3.20>, <5.24, 2.18, 3.28> }
  box { <5.17, 2.10, 1.72>, <5.24, 2.18, 3.28> }
  box { <5.18, 1.0, 2.47>, <5.23, 2.1, 2.53> }
  box { <5.19, 1.62, 1.75>, <5.22, 1.66, 3.25> }
  texture { Paint }
}
sky_sphere { pigment { gradient y color_map { [0 rgb <5.2, 5.8, 6.4> * Lit] [0.5 rgb <2.0, 3.2, 5.4> * Lit] } } }
sphere { <40, -14, 8>, 20 texture { pigment { bozo scale 2.2 turbulence 0.7 color_map { [0 rgb <0.03, 0.08, 0.02>] [1 rgb <0.22, 0.34, 0.09>] } } } }
box { <22, -3, -6>, <27, 3.2, 2> texture { pigment { brick rgb <0.5, 0.47, 0.4>, rgb <0.42, 0.2, 0.12> scale 0.06 } } }
#declare Row = 0;
#while (Row < 7)
  sphere { <15 + Between(0, 6), Between(-1, 1.2), -4 + 2.1 * Row>, Between(0.7, 1.3) texture { pigment { bozo scale 0.3 color_map { [0 rgb <0.02, 0.06, 0.01>] [1 rgb <0.2, 0.36, 0.08>] } } } }
  #declare Row = Row + 1;
#end
#macro Curtain(Z) // folds
  #local Fold = 0;
  union {
    #while (Fold < 6)
      cylinder { <5.10 + 0.015 * mod(Fold, 2), 0.35, Z + 0.055 * Fold>, <5.10 + 0.015 * mod(Fold, 2), 2.3, Z + 0.055 * Fold>, 0.034 }
      #local Fold = Fold + 1;
    #end
    texture { pigment { gradient y triangle_wave scale 0.31 color_map { [0 rgb <0.42, 0.10, 0.08>] [0.42 rgb <0.42, 0.10, 0.08>] [0.5 rgb <0.60, 0.50, 0.30>] [1 rgb <0.46, 0.12, 0.09>] } } }
  }
#end
Curtain(1.42)
Curtain(3.30)
cylinder { <5.09, 2.33, 1.2>, <5.09, 2.33, 3.9>, 0.014 texture { Brass } }
#declare Row = 0;
#while (Row < 12) // radiator
  box { <5.06, 0.16, 1.95 + 0.09 * Row>, <5.17, 0.78, 2.01 + 0.09 * Row> texture { Paint } }
  #declare Row = Row + 1;
#end

// --- furniture ---------------------------------------------------------------------------------

Shelf(<0.35, 0, 4.09>, 1.5, 6)

union { // bed along the left wall
  box { <0.05, 0.18, 0.35>, <1.25, 0.36, 2.45> texture { Walnut } }
  box { <0.05, 0.18, 0.30>, <1.25, 0.95, 0.37> texture { Oak } }
  box { <0.08, 0.36, 0.38>, <1.22, 0.52, 2.42> texture { Linen } }
  superellipsoid { <0.5, 0.4> scale <0.32, 0.09, 0.2> rotate -14 * x translate <0.42, 0.60, 0.66> texture { Linen } }
  superellipsoid { <0.5, 0.4> scale <0.26, 0.08, 0.18> rotate <-18, 9, 0> translate <0.92, 0.60, 0.62> texture { pigment { checker rgb <0.1, 0.2, 0.34>, rgb <0.6, 0.57, 0.45> scale 0.045 } } }
  box { <0.06, 0.37, 1.1>, <1.26, 0.56, 2.46> texture { pigment { gradient z color_map { [0 rgb <0.11, 0.22, 0.2>] [0.3 rgb <0.11, 0.22, 0.2>] [0.3 rgb <0.55, 0.42, 0.16>] [0.4 rgb <0.55, 0.42, 0.16>] [0.4 rgb <0.3, 0.08, 0.1>] [0.75 rgb <0.3, 0.08, 0.1>] [0.75 rgb <0.62, 0.6, 0.52>] [0.8 rgb <0.11, 0.22, 0.2>] } scale 0.41 } } }
}

union { // wardrobe
  box { <2.3, 0, 4.02>, <3.6, 2.05, 4.39> texture { Oak } }
  box { <2.34, 0.1, 3.995>, <2.93, 1.98, 4.03> texture { Oak translate 2 * x } }
  box { <2.97, 0.1, 3.995>, <3.56, 1.98, 4.03> texture { Oak translate 5 * x } }
  box { <2.42, 1.1, 3.98>, <2.85, 1.9, 4.0> texture { Walnut } }
  box { <3.05, 1.1, 3.98>, <3.48, 1.9, 4.0> texture { Walnut } }
  box { <2.42, 0.2, 3.98>, <2.85, 1.0, 4.0> texture { Walnut translate z } }
  box { <3.05, 0.2, 3.98>, <3.48, 1.0, 4.0> texture { Walnut translate 3 * z } }
  sphere { <2.9, 1.05, 3.965>, 0.02 texture { Brass } }
  sphere { <3.0, 1.05, 3.965>, 0.02 texture { Brass } }
  box { <2.55, 2.05, 4.08>, <3.0, 2.3, 4.36> texture { pigment { wood scale 0.05 color_map { [0 rgb <0.3, 0.16, 0.06>] [1 rgb <0.2, 0.1, 0.04>] } } } }
}

#macro Seat(Place, Turn)
  union {
    box { <-0.2, 0.43, -0.2>, <0.2, 0.47, 0.2> texture { Mottled(<0.2, 0.05, 0.05>, <0.45, 0.16, 0.1>, 0.2) } }
    cylinder { <-0.18, 0, -0.18>, <-0.18, 0.45, -0.18>, 0.018 }
    cylinder { <0.18, 0, -0.18>, <0.18, 0.45, -0.18>, 0.018 }
    cylinder { <-0.18, 0, 0.18>, <-0.18, 0.98, 0.2>, 0.018 }
    cylinder { <0.18, 0, 0.18>, <0.18, 0.98, 0.2>, 0.018 }
    box { <-0.18, 0.60, 0.18>, <0.18, 0.66, 0.2> }
    box { <-0.18, 0.74, 0.185>, <0.18, 0.80, 0.205> }
    box { <-0.18, 0.88, 0.19>, <0.18, 0.97, 0.21> }
    texture { Walnut }
    rotate Turn * y
    translate Place
  }
#end
Seat(<3.62, 0, 1.05>, 200)
Seat(<3.05, 0, 3.15>, -25)

union { // table with things on it
  box { <3.35, 0.72, 0.12>, <4.75, 0.76, 0.82> texture { Oak rotate 90 * z } }
  #declare Leg = 0;
  #while (Leg < 4)
    box { <-0.03, 0, -0.03>, <0.03, 0.72, 0.03> translate <3.42 + 1.26 * mod(Leg, 2), 0, 0.19 + 0.56 * floor(Leg / 2)> texture { Walnut } }
    #declare Leg = Leg + 1;
  #end
  box { <3.5, 0.76, 0.25>, <3.78, 0.79, 0.45> texture { pigment { rgb <0.12, 0.3, 0.42> } } }
  box { <3.52, 0.79, 0.27>, <3.77, 0.82, 0.44> rotate 4 * y texture { pigment { rgb <0.5, 0.3, 0.08> } } }
  box { <3.95, 0.761, 0.3>, <4.16, 0.765, 0.6> texture { pigment { gradient z color_map { [0 rgb 0.75] [0.7 rgb 0.75] [0.7 rgb 0.12] [1 rgb 0.12] } scale 0.02 } } }
  lathe { cubic_spline 7 <0, -0.01>, <0.05, 0>, <0.09, 0.09>, <0.05, 0.19>, <0.035, 0.24>, <0.05, 0.27>, <0.05, 0.3> translate <4.35, 0.76, 0.45> texture { pigment { gradient y color_map { [0 rgb <0.1, 0.16, 0.4>] [0.5 rgb <0.6, 0.62, 0.6>] [0.55 rgb <0.1, 0.16, 0.4>] [1 rgb <0.6, 0.62, 0.6>] } scale 0.09 } } }
}
#declare Leaf = 0;
#while (Leaf < 14)
  sphere { 0, 1 scale <0.02, 0.11, 0.006> translate 0.13 * y rotate <Between(10, 60), 0, 0> rotate Between(0, 360) * y translate <4.35, 1.02, 0.45> texture { pigment { rgb <0.07, Between(0.16, 0.36), 0.05> } } }
  #declare Leaf = Leaf + 1;
#end

union { // lamp on the night table
  box { <0.08, 0, 2.6>, <0.5, 0.5, 3.0> texture { Oak translate 7 * x } }
  cylinder { <0.28, 0.5, 2.8>, <0.28, 0.52, 2.8>, 0.08 texture { Brass } }
  cylinder { <0.28, 0.5, 2.8>, <0.28, 0.80, 2.8>, 0.012 texture { Brass } }
  cone { <0.28, 0.76, 2.8>, 0.15, <0.28, 0.97, 2.8>, 0.09 texture { pigment { rgb <0.9, 0.7, 0.45> } finish { emission 1.7 * Lit } } }
}
union { // the lamp under the ceiling
  cylinder { <2.6, 2.36, 2.1>, <2.6, 2.7, 2.1>, 0.008 texture { Iron } }
  torus { 0.23, 0.012 translate <2.6, 2.36, 2.1> texture { Iron } }
  cylinder { <2.37, 2.36, 2.1>, <2.83, 2.36, 2.1>, 0.008 texture { Iron } }
  sphere { <2.37, 2.40, 2.1>, 0.035 }
  sphere { <2.83, 2.40, 2.1>, 0.035 }
  sphere { <2.6, 2.40, 1.87>, 0.035 }
  sphere { <2.6, 2.40, 2.33>, 0.035 }
  texture { pigment { rgb <1, 0.85, 0.6> } finish { emission 14 * Lit } }
  no_shadow
}
cylinder { <2.55, 0, 2.05>, <2.55, 0.008, 2.05>, 0.9 // rug
  texture { pigment { onion triangle_wave scale 0.15 color_map { [0 rgb <0.35, 0.07, 0.06>] [0.5 rgb <0.5, 0.38, 0.2>] [0.5 rgb <0.08, 0.12, 0.22>] [1 rgb <0.35, 0.07, 0.06>] } translate <2.55, 0, 2.05> } }
}
#declare Dot = 0;
#while (Dot < 60)
  cylinder { 0, 0.01 * y, Between(0.02, 0.05) translate <Between(0.1, 0.8), 0, 0> rotate Between(0, 360) * y translate <2.55, 0, 2.05> texture { pigment { rgb Any_colour(0.5) } } }
  #declare Dot = Dot + 1;
#end

// Pictures: strokes of colour in a frame. The near corner, how wide, how tall, how turned.
#macro Picture(Corner, Wide, Tall, Turn)
  union {
    box { <-0.03, -0.03, 0>, <Wide + 0.03, Tall + 0.03, 0.02> texture { Walnut } }
    box { <0, 0, -0.004>, <Wide, Tall, 0.02> texture { pigment { rgb Any_colour(0.55) } } }
    #local Stroke = 0;
    #while (Stroke < 26)
      #local Reach = Between(0.02, 0.11);
      cylinder { 0, -0.0045 * z, Reach scale <1, Between(0.3, 1), 1>
        translate <Between(Reach, Wide - Reach), Between(Reach, Tall - Reach), -0.0002 * Stroke> texture { pigment { rgb Any_colour(0.6) } } }
      #local Stroke = Stroke + 1;
    #end
    rotate Turn * y
    translate Corner
  }
#end
Picture(<0.02, 1.25, 0.9>, 0.9, 0.62, -90)
Picture(<0.02, 1.15, 2.2>, 0.45, 0.6, -90)
Picture(<0.02, 1.4, 3.2>, 0.6, 0.45, -90)
Picture(<4.38, 1.2, 0.02>, 0.7, 0.9, 180)
Picture(<3.25, 1.35, 0.02>, 0.5, 0.4, 180)
Picture(<3.8, 1.2, 4.38>, 0.8, 0.65, 0)
Picture(<5.18, 1.2, 1.0>, 0.55, 0.5, 90)
Picture(<1.9, 1.5, 4.38>, 0.3, 0.4, 0)

union { // door
  box { <1.45, 0, -0.01>, <2.35, 2.05, 0.03> }
  box { <1.38, 0, -0.01>, <1.46, 2.12, 0.06> }
  box { <2.34, 0, -0.01>, <2.42, 2.12, 0.06> }
  box { <1.38, 2.04, -0.01>, <2.42, 2.12, 0.06> }
  texture { pigment { rgb <0.24, 0.33, 0.3> } }
}
union {
  box { <1.57, 0.2, 0.03>, <2.23, 0.8, 0.04> }
  box { <1.57, 0.95, 0.03>, <2.23, 1.9, 0.04> }
  texture { pigment { rgb <0.34, 0.44, 0.4> } }
}
cylinder { <2.26, 1.0, 0.07>, <2.14, 1.0, 0.07>, 0.012 texture { Brass } }
box { <2.245, 0.9, 0.03>, <2.285, 1.08, 0.035> texture { Brass } }
union { // coats beside the door
  box { <0.6, 1.7, 0.01>, <1.2, 1.78, 0.03> texture { Walnut } }
  cone { <0.72, 1.66, 0.1>, 0.05, <0.72, 0.85, 0.12>, 0.15 texture { Mottled(<0.04, 0.06, 0.12>, <0.12, 0.16, 0.26>, 0.2) } }
  cone { <1.04, 1.68, 0.1>, 0.04, <1.04, 1.0, 0.11>, 0.13 texture { Mottled(<0.3, 0.2, 0.08>, <0.5, 0.36, 0.16>, 0.2) } }
}
