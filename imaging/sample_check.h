#pragma once

#include <filesystem>

#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

/// The largest sample that is taken for light: thirty stops above white, as far as exposures of one
/// bracket may lie apart. Squares of it, which measurements need, are far from a float's end.
inline constexpr float kMostSample = 0x1p30F;

/// Fails when a float picture holds samples that are not finite or larger than kMostSample, either
/// sign, with their number and the place of the first. Nothing stands in for them: what a place
/// looked like that the file does not tell is not ours to make up, and one such sample spoils every
/// measurement around it.
[[nodiscard]] Result<void> check_samples(const std::filesystem::path& path, const Image& image);

}  // namespace seamwright
