#pragma once

// A hole in a picture, filled from the rest of it.
//
// Half of the slow changes of light is taken out first and put back at the end, continued smoothly
// over the hole (hole_scales.h): a lamp's fall-off then hardly matters, while a carpet is still
// told from the boards beside it. The rest, boards and tiles and grain, is made of whole pieces
// moved by the offsets that the surroundings repeat by (shift_fill.h).
//
// Where there is no such offset, it is made from patches: at the coarsest scale from the border
// inwards; then every patch of the hole looks for the most similar one outside (approximate nearest
// neighbours by propagation and random search, Barnes et al. 2009, ACM ToG 28:24), overlapping
// patches vote for each pixel, and both are repeated from coarse to fine (Wexler, Shechtman, Irani
// 2007, IEEE Trans. PAMI 29:463–476). Same picture, same filling, whatever the thread count.

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

/// What a filling is made of.
enum class FillingKind : std::uint8_t {
  shifts,   ///< whole pieces, moved
  patches,  ///< small patches that vote
};

struct Filling {
  FillingKind kind = FillingKind::shifts;
  /// What fillings of equal holes beside this one reach, in dB against what is there: worst first.
  std::vector<double> beside_db = {};

  /// The middle of them, the lower one of two; empty where there was no room for any.
  [[nodiscard]] std::optional<double> expected_db() const;
};

/// `picture`: grey or RGB f32, code values; `hole`: one byte a pixel, other than 0 where to fill.
/// Fails when the hole leaves less than a fifth of the picture to take from.
[[nodiscard]] Result<Filling> fill_hole(Image& picture, std::span<const std::uint8_t> hole);

/// The same, made in one of the ways.
[[nodiscard]] Result<Filling> fill_hole(Image& picture, std::span<const std::uint8_t> hole,
                                        FillingKind kind);

}  // namespace seamwright
