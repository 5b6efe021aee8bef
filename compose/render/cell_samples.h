#pragma once

#include <cstdint>
#include <limits>
#include <span>

#include "imaging/image.h"
#include "imaging/transfer.h"
#include "sampling/cell.h"
#include "sampling/light_kernels.h"

namespace seamwright {

/// A code value 0…1 as a sample: rounded and held within an integer's range; no number becomes 0.
template <class T>
[[nodiscard]] T sample_of(float code) {
  constexpr float kWhite = static_cast<float>(std::numeric_limits<T>::max());
  if (!(code > 0.0F)) return 0;  // NaN too
  return static_cast<T>((code < 1.0F ? code : 1.0F) * kWhite + 0.5F);
}
template <>
[[nodiscard]] inline float sample_of<float>(float code) {
  return code;
}

/// Encodes a cell's light into `band`, of u16 or f32 samples, whose first row is the raster's row
/// `band_top`. `alpha` by Cell::index; it is left out where the band has none.
void write_cell(const Cell& cell, const RunColours& light, std::span<const float> alpha,
                const TransferCurve& transfer, int band_top, Image& band);

}  // namespace seamwright
