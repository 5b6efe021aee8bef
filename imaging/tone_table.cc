#include "imaging/tone_table.h"

#include <algorithm>
#include <cmath>

namespace seamwright {
namespace {

constexpr double kLastCode = ToneTable::kCodes - 1;

// Steps an octave: as few as return every code; more only for curves with sharp bends.
constexpr int kLeastStepBits = 8;
constexpr int kMostStepBits = 13;

// The power law light = white · code^gamma through the upper 1/256 of the curve.
ToneAboveWhite fitted_above_white(const std::function<double(double)>& decode) {
  constexpr double kBelow = 255.0 / 256.0;
  const double white = decode(1.0);
  const double slope = std::log(decode(kBelow) / white) / std::log(kBelow);
  return {.white = white, .scale = 1, .offset = 0, .gamma = std::clamp(slope, 0.2, 5.0)};
}

// Rises by at least a few units in the last place at each code.
std::vector<float> strictly_rising(const std::function<double(double)>& decode) {
  constexpr double kLeastRatio = 1.0 + 0x1p-21;
  constexpr double kLeastStep = 0x1p-44;
  std::vector<float> light(ToneTable::kCodes + 1);
  for (int i = 0; i < ToneTable::kCodes; ++i) {
    double value = std::max(0.0, decode(i / kLastCode));
    if (i > 0) {
      const double before = light[static_cast<std::size_t>(i) - 1];
      value = std::max(value, before * kLeastRatio + kLeastStep);
    }
    light[static_cast<std::size_t>(i)] = static_cast<float>(value);
  }
  light.back() = light[ToneTable::kCodes - 1];
  return light;
}

}  // namespace

ToneTable::ToneTable(const std::function<double(double)>& decode, const ToneAboveWhite& above_white)
    : decode_(strictly_rising(decode)), above_white_(above_white) {
  above_white_.white =
      decode_.back() / std::pow(above_white_.scale + above_white_.offset, above_white_.gamma);
  for (int bits = kLeastStepBits; bits <= kMostStepBits; ++bits) {
    build_encoding(bits);
    if (returns_every_code()) break;
  }
}

ToneTable::ToneTable(const std::function<double(double)>& decode)
    : ToneTable(decode, fitted_above_white(decode)) {}

// Walks light upward through the decoding table, which is inverted exactly as it is interpolated.
void ToneTable::build_encoding(int step_bits) {
  step_shift_ = kMantissaBits - static_cast<std::uint32_t>(step_bits);
  const std::uint32_t steps = (kEndBits - kFirstBits) >> step_shift_;
  encode_.resize(steps + 1);
  std::size_t code = 0;
  for (std::uint32_t i = 0; i <= steps; ++i) {
    const double light = std::bit_cast<float>(kFirstBits + (i << step_shift_));
    while (code + 1 < kCodes && decode_[code + 1] <= light) ++code;
    if (code + 1 == kCodes) {
      encode_[i] = static_cast<float>(code_above_white(light));
    } else {
      const double low = decode_[code];
      const double part = std::max(0.0, (light - low) / (decode_[code + 1] - low));
      encode_[i] = static_cast<float>((static_cast<double>(code) + part) / kLastCode);
    }
  }
}

bool ToneTable::returns_every_code() const {
  constexpr double kWorst = 0.25;  // of a code step
  for (std::size_t i = 0; i < kCodes; ++i) {
    const double back = from_linear(decode_[i]) * kLastCode;
    if (std::abs(back - static_cast<double>(i)) > kWorst) return false;
  }
  return true;
}

float ToneTable::decode_outside(float code) const {
  if (std::isnan(code)) return code;
  if (code < 0) return -to_linear(-code);
  const double base = above_white_.scale * code + above_white_.offset;
  return static_cast<float>(above_white_.white * std::pow(base, above_white_.gamma));
}

float ToneTable::encode_outside(float light) const {
  if (std::isnan(light)) return light;
  if (light < 0) return -from_linear(-light);
  const float first = std::bit_cast<float>(kFirstBits);
  if (light < first) return encode_.front() * (light / first);
  return static_cast<float>(code_above_white(light));
}

double ToneTable::code_above_white(double light) const {
  const double base = std::pow(light / above_white_.white, 1.0 / above_white_.gamma);
  return (base - above_white_.offset) / above_white_.scale;
}

}  // namespace seamwright
