#include "imaging/transfer.h"

#include <cassert>
#include <cmath>

#include "imaging/icc.h"
#include "imaging/quantise.h"

namespace seamwright {

// IEC 61966-2-1:1999, 5.2.
double srgb_to_linear(double code) {
  const double size = std::abs(code);
  const double light = size <= 0.04045 ? size / 12.92 : std::pow((size + 0.055) / 1.055, 2.4);
  return std::copysign(light, code);
}

double linear_to_srgb(double light) {
  const double size = std::abs(light);
  const double code = size <= 0.0031308 ? size * 12.92 : 1.055 * std::pow(size, 1.0 / 2.4) - 0.055;
  return std::copysign(code, light);
}

TransferCurve TransferCurve::srgb() {
  const auto table = std::make_shared<const ToneTable>(
      srgb_to_linear,
      ToneAboveWhite{.white = 1, .scale = 1 / 1.055, .offset = 0.055 / 1.055, .gamma = 2.4});
  return {{table, table, table}, false};
}

TransferCurve TransferCurve::linear() {
  const auto table =
      std::make_shared<const ToneTable>([](double code) { return code; }, ToneAboveWhite{});
  return {{table, table, table}, true};
}

Result<TransferCurve> TransferCurve::of(const Image& image) {
  if (image.icc_profile.empty()) {
    return image.transfer == Transfer::linear ? linear() : srgb();
  }
  const bool coloured = image.channels() == Channels::rgb || image.channels() == Channels::rgba;
  const auto tones = tone_functions(image.icc_profile, coloured, image.file);
  if (!tones) return tl::unexpected(tones.error());
  std::array<Table, 3> tables;
  for (std::size_t i = 0; i < tables.size(); ++i) {
    auto table = std::make_shared<const ToneTable>((*tones)[i]);
    for (std::size_t j = 0; j < i && !tables[i]; ++j) {
      if (*tables[j] == *table) tables[i] = tables[j];  // one table is kinder to the cache
    }
    if (!tables[i]) tables[i] = std::move(table);
  }
  return TransferCurve(std::move(tables), false);
}

template <class T>
void TransferCurve::decode_row(std::span<const T> codes, Channels channels,
                               std::span<float> light) const {
  assert(codes.size() == light.size());
  const auto step = static_cast<std::size_t>(channel_count(channels));
  const std::size_t colours = step - (has_alpha(channels) ? 1 : 0);
  for (std::size_t channel = 0; channel < step; ++channel) {
    const bool straight = linear_ || channel >= colours;
    const ToneTable& table = *tables_[channel < colours ? channel : 0];
    [[maybe_unused]] const auto of_code = table.light_of_codes();
    for (std::size_t i = channel; i < codes.size(); i += step) {
      if (straight) {
        light[i] = unit_from_sample(codes[i]);
      } else if constexpr (std::is_same_v<T, float>) {
        light[i] = table.to_linear(codes[i]);
      } else {
        light[i] = of_code[std::size_t{codes[i]} * (sizeof(T) == 1 ? 257 : 1)];
      }
    }
  }
}

template <class T>
void TransferCurve::encode_row(std::span<const float> light, Channels channels,
                               std::span<T> codes) const {
  assert(codes.size() == light.size());
  const auto step = static_cast<std::size_t>(channel_count(channels));
  const std::size_t colours = step - (has_alpha(channels) ? 1 : 0);
  for (std::size_t channel = 0; channel < step; ++channel) {
    const bool straight = linear_ || channel >= colours;
    const ToneTable& table = *tables_[channel < colours ? channel : 0];
    for (std::size_t i = channel; i < light.size(); i += step) {
      codes[i] = sample_from_unit<T>(straight ? light[i] : table.from_linear(light[i]));
    }
  }
}

template void TransferCurve::decode_row<std::uint8_t>(std::span<const std::uint8_t>, Channels,
                                                      std::span<float>) const;
template void TransferCurve::decode_row<std::uint16_t>(std::span<const std::uint16_t>, Channels,
                                                       std::span<float>) const;
template void TransferCurve::decode_row<float>(std::span<const float>, Channels,
                                               std::span<float>) const;
template void TransferCurve::encode_row<std::uint8_t>(std::span<const float>, Channels,
                                                      std::span<std::uint8_t>) const;
template void TransferCurve::encode_row<std::uint16_t>(std::span<const float>, Channels,
                                                       std::span<std::uint16_t>) const;
template void TransferCurve::encode_row<float>(std::span<const float>, Channels,
                                               std::span<float>) const;

}  // namespace seamwright
