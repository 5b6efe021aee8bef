#pragma once

// A stroke alphabet of our own: capitals, digits and a few signs, drawn as polylines on a grid 4
// wide and 6 high. Strokes have a true distance, so lettering is smooth at any size.

#include <string_view>

namespace seamwright::demo {

inline constexpr float kGlyphHeight = 6.0F;
inline constexpr float kGlyphAdvance = 5.6F;

/// Width of one line of text, in grid units, without the gap after its last letter.
float text_width(std::string_view line);

/// Share of ink, 0…1, at (x, y) in grid units: x from the left edge of the first letter, y down
/// from the top of the capitals. `footprint` is the width a sample covers, in grid units.
float text_ink(std::string_view line, float x, float y, float half_stroke, float footprint);

/// The same for several lines (split at '\n'), each centred in and scaled to a box of
/// width × height metres; (u, v) in metres from the box' top left.
float label_ink(std::string_view lines, float u, float v, float width_m, float height_m,
                float footprint_m);

}  // namespace seamwright::demo
