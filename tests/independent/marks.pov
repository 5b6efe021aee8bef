// Marks in known directions and of known light, to see what POV-Ray's cameras and files do.
//
//   Declare=View=0   an equidistant fisheye of 204 degrees, looking ahead
//   Declare=View=1   a whole panorama
//   Declare=Depth=0|1
#version 3.7;
global_settings { assumed_gamma 1.0 }
#if (View = 0)
  camera { fisheye location 0 direction z right x up y angle 204 }
#else
  camera { spherical location 0 direction z right x up y angle 360 180 }
#end
#if (Depth)
  fog { fog_type 1 distance 4 rgb 1 }
#end
#declare Off = 15;
#while (Off < 100) // degrees off ahead; turned about ahead by 11 + 45 k degrees
  #declare K = 0;
  #while (K < 8)
    sphere {
      5 * vrotate(vrotate(z, Off * y), (11 + 45 * K) * z), 0.1
      pigment { rgb <0.18, 0.5, 5> } finish { ambient 0 diffuse 0 emission 1 - Depth }
    }
    #declare K = K + 1;
  #end
  #declare Off = Off + 16.5;
#end
// A wall above, of one light and one distance at its foot.
disc { 2 * y, -y, 0.2 pigment { rgb <0.02, 0.18, 9> } finish { ambient 0 diffuse 0 emission 1 - Depth } }
