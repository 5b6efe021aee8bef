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

std::array<float, 3> LensShader::light(const Vec2& px) const {
  std::array<float, 3> code{};
  if (map_.has_fringes() && colours() == 3) {
    for (int c = 0; c < 3; ++c) {
      code[static_cast<std::size_t>(c)] = sampler_.sample(map_.colour_px(px, c), c);
    }
  } else {
    sampler_.sample(px, code.data());
  }
  const double brightness = map_.brightness(px);
  std::array<float, 3> light{};
  for (int c = 0; c < colours(); ++c) {
    const auto i = static_cast<std::size_t>(c);
    float factor = static_cast<float>(gains_[i] / brightness);
    if (clips_ && factor < 1.0F) factor += clipped_share(code[i]) * (1.0F - factor);
    light[i] = transfer_.to_linear(code[i], c) * factor;
  }
  return light;
}

}  // namespace seamwright
