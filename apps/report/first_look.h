#pragma once

#include <string>
#include <vector>

namespace seamwright {

/// What a person should look at before a template is used: no number tells whether a room stands on
/// its head or writing runs backwards. Pictures are JPEG files as base64; without any there is no
/// such section. What to do is said by whoever knows the options, as sentences without a full stop.
struct FirstLook {
  std::string shot = {};                 ///< whose pictures these are
  std::string panorama = {};             ///< stitched with the template, 2 : 1
  std::vector<std::string> lenses = {};  ///< what lies in the middle of each
  std::string if_mirrored = {};          ///< what to do where writing runs backwards
  std::string if_not_upright = {};       ///< … and where the room lies on its side
};

}  // namespace seamwright
