#pragma once

#include <string>
#include <vector>

namespace seamwright {

/// What a person should look at before a template is used: no number tells whether a room stands on
/// its head or writing runs backwards. Pictures are JPEG files as base64; without any there is no
/// such section.
struct FirstLook {
  std::string shot = {};                 ///< whose pictures these are
  std::string panorama = {};             ///< stitched with the template, 2 : 1
  std::vector<std::string> lenses = {};  ///< what lies in the middle of each
};

}  // namespace seamwright
