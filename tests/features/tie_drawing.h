#pragma once

#include <filesystem>
#include <span>

#include "features/ties.h"
#include "imaging/image.h"

namespace seamwright::test {

/// A picture for people: both strips of a pair one above the other and its ties as lines between
/// them, colours of viridis by the size of the sideways misalignment (dark 0 … yellow `full_px`).
[[nodiscard]] Image draw_ties(std::span<const Image> frames, const Rig& rig, const TieSet& set,
                              int lens_a, int lens_b, double full_px);

/// Writes a picture where SEAMWRIGHT_TEST_PICTURES names a folder, else into `scratch`.
void put_picture(const Image& picture, const std::filesystem::path& scratch,
                 const std::string& name);

}  // namespace seamwright::test
