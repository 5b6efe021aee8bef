#include "sampling/lens_shader.h"

#include <algorithm>

#include "imaging/clipping.h"

namespace seamwright {

namespace {

LensPixels pixels_of(const LensMap& map, bool coloured, const ChannelGains& gains, bool clips) {
  const Lens& lens = map.lens();
  const auto single = [](double value) { return static_cast<float>(value); };
  const Vec2 centre = lens.centre_px();
  const double rim = lens.rim_radius_px();
  LensPixels pixels{.centre_x = single(centre.x()),
                    .centre_y = single(centre.y()),
                    .inverse_rim_square = single(1 / (rim * rim)),
                    .fringes = coloured && map.has_fringes(),
                    .clips = clips};
  pixels.fringe = {{{single(lens.red.a0), 0, single(lens.blue.a0), 0},
                    {single(lens.red.a1), 0, single(lens.blue.a1), 0},
                    {single(lens.red.a2), 0, single(lens.blue.a2), 0}}};
  pixels.vignetting = {single(lens.vignetting.v1), single(lens.vignetting.v2),
                       single(lens.vignetting.v3)};
  for (std::size_t c = 0; c < 3; ++c) pixels.gains[c] = single(gains[c]);
  return pixels;
}

// 0 up to nearly clipped, 1 from clipped on, smooth between.
float clipped_share(float code) {
  const float t = std::clamp(
      (code - clipping::kGivesWayFrom) / (clipping::kGone - clipping::kGivesWayFrom), 0.0F, 1.0F);
  return t * t * (3.0F - 2.0F * t);
}

}  // namespace

LensShader::LensShader(const LensMap& map, const PictureSampler& sampler,
                       const TransferCurve& transfer, const ChannelGains& gains, bool clips)
    : map_(map),
      sampler_(sampler),
      transfer_(transfer),
      gains_(gains),
      clips_(clips),
      pixels_(pixels_of(map, sampler.colours() == 3, gains, clips)) {}

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

bool LensShader::clipped(const RunColours& code, std::size_t i) const {
  return clips_ && std::any_of(code.begin(), code.begin() + colours(),
                               [i](const RunPlane& plane) { return plane[i] >= clipping::kGone; });
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

void LensShader::light(const SourceRun& run, const ToneRun& tone, RunColours& light) const {
  RunColours code;
  this->light(run, tone, light, code);
}

void LensShader::light(const SourceRun& run, const ToneRun& tone, RunColours& light,
                       RunColours& code) const {
  alignas(64) std::array<float, 4 * (kMostRun + kRunSlack)> codes;
  std::fill_n(codes.begin() + static_cast<std::ptrdiff_t>(4 * run.count), 4 * kRunSlack, 0.0F);
  sample_run(sampler_.raster(), sampler_.kernel(), pixels_, run, codes.data());
  const bool coloured = colours() == 3;
  if (sampler_.raster().type == SampleType::f32) {
    // Float samples go beyond white, where curves are formulas.
    decode_run(codes.data(), run.count, 1, {}, code, light);
    for (int c = 0; c < (transfer_.is_linear() ? 0 : colours()); ++c) {
      RunPlane& plane = light[static_cast<std::size_t>(c)];
      for (std::size_t i = 0; i < run.count; ++i) plane[i] = transfer_.to_linear(plane[i], c);
    }
  } else {
    const float white = sampler_.raster().type == SampleType::u8 ? 255.0F : 65535.0F;
    decode_run(
        codes.data(), run.count, white,
        {transfer_.table(0), transfer_.table(coloured ? 1 : 0), transfer_.table(coloured ? 2 : 0)},
        code, light);
  }
  shade_run(pixels_, run, code, tone, light);
}

}  // namespace seamwright
