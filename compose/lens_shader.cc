#include "compose/lens_shader.h"

#include <algorithm>

namespace seamwright {

namespace {

constexpr float kNearlyClippedCode = 0.92F;
constexpr float kClippedCode = 0.985F;

// 0 up to nearly clipped, 1 from clipped on, smooth between.
float clipped_share(float code) {
  const float t =
      std::clamp((code - kNearlyClippedCode) / (kClippedCode - kNearlyClippedCode), 0.0F, 1.0F);
  return t * t * (3.0F - 2.0F * t);
}

}  // namespace

LensShader::LensShader(const LensMap& map, const PictureSampler& sampler,
                       const TransferCurve& transfer, const ChannelGains& gains, bool clips)
    : map_(map), sampler_(sampler), transfer_(transfer), gains_(gains), clips_(clips) {}

std::array<float, 3> LensShader::code_at(const Vec2& px) const {
  std::array<float, 3> code{};
  if (map_.has_fringes() && colours() == 3) {
    for (int c = 0; c < 3; ++c) {
      code[static_cast<std::size_t>(c)] = sampler_.sample(map_.colour_px(px, c), c);
    }
  } else {
    sampler_.sample(px, code.data());
  }
  return code;
}

bool LensShader::clipped(const Vec2& px) const {
  const auto code = code_at(px);
  return clips_ && std::any_of(code.begin(), code.begin() + colours(),
                               [](float value) { return value >= kClippedCode; });
}

std::array<float, 3> LensShader::light(const Vec2& px, const LensTone& tone) const {
  const auto code = code_at(px);
  const double brightness = map_.brightness(px);
  std::array<float, 3> light{};
  for (int c = 0; c < colours(); ++c) {
    const auto i = static_cast<std::size_t>(c);
    const float clipped = clips_ ? clipped_share(code[i]) : 0.0F;
    float factor = static_cast<float>(gains_[i] / brightness);
    if (factor < 1.0F) factor += clipped * (1.0F - factor);
    const float plain = transfer_.to_linear(code[i], c) * factor;
    const float toned = std::max(0.0F, plain * tone.gain[i] + tone.add[i]);
    light[i] = toned + clipped * (plain - toned);
  }
  return light;
}

}  // namespace seamwright
