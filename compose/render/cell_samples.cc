#include "compose/render/cell_samples.h"

#include <cstddef>

namespace seamwright {

namespace {

template <class T>
void write_rows(const Cell& cell, const RunColours& light, std::span<const float> alpha,
                const TransferCurve& transfer, int band_top, Image& band) {
  const int channels = band.channel_count();
  const int colours = has_alpha(band.channels()) ? channels - 1 : channels;
  for (int row = 0; row < cell.height; ++row) {
    T* out = band.row<T>(cell.y + row - band_top).data() + cell.x * channels;
    for (int column = 0; column < cell.width; ++column) {
      const std::size_t i = Cell::index(column, row);
      for (int c = 0; c < colours; ++c) {
        *out++ = sample_of<T>(transfer.from_linear(light[static_cast<std::size_t>(c)][i], c));
      }
      if (colours < channels) *out++ = sample_of<T>(alpha[i]);
    }
  }
}

}  // namespace

void write_cell(const Cell& cell, const RunColours& light, std::span<const float> alpha,
                const TransferCurve& transfer, int band_top, Image& band) {
  if (band.type() == SampleType::f32) {
    return write_rows<float>(cell, light, alpha, transfer, band_top, band);
  }
  if (has_alpha(band.channels())) {
    return write_rows<std::uint16_t>(cell, light, alpha, transfer, band_top, band);
  }
  const int channels = band.channel_count();
  for (int row = 0; row < cell.height; ++row) {
    encode_run(light, Cell::index(0, row), static_cast<std::size_t>(cell.width), channels,
               {transfer.table(0), transfer.table(1), transfer.table(2)},
               band.row<std::uint16_t>(cell.y + row - band_top).data() + cell.x * channels);
  }
}

}  // namespace seamwright
