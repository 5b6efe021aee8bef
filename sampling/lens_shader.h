#pragma once

#include <array>

#include "imaging/transfer.h"
#include "sampling/lens_map.h"
#include "sampling/light_kernels.h"
#include "sampling/picture_sampler.h"

namespace seamwright {

using ChannelGains = std::array<double, 3>;  ///< factors on light; grey pictures use the first

/// What a blend turns a lens' light into: light · gain + add.
struct LensTone {
  std::array<float, 3> gain{1, 1, 1};
  std::array<float, 3> add{0, 0, 0};
};

/// From a source pixel of one lens to matched linear light: fringes registered, sampled once,
/// decoded, vignetting divided out, gain applied.
///
/// A clipped channel has lost its light, and a gain below 1 would turn the white of a window grey
/// or coloured. From nearly clipped to clipped a channel's factor is therefore drawn up to at
/// least 1.
///
/// Keeps references to everything it is made of. Thread-safe.
class LensShader {
 public:
  LensShader(const LensMap& map, const PictureSampler& sampler, const TransferCurve& transfer,
             const ChannelGains& gains, bool clips);

  [[nodiscard]] int colours() const { return sampler_.colours(); }
  /// True of integer samples, which end at white; float samples go on.
  [[nodiscard]] bool clips() const { return clips_; }
  /// Linear light at the place that green source pixel `px` shows; unused channels are 0. The
  /// blend's tone is drawn back where a channel clips.
  [[nodiscard]] std::array<float, 3> light(const Vec2& px, const LensTone& tone = {}) const;
  /// The same for a run of positions (light_kernels.h); unused channels mean nothing.
  void light(const SourceRun& run, const ToneRun& tone, RunColours& light) const;
  /// `code`: what it was made from.
  void light(const SourceRun& run, const ToneRun& tone, RunColours& light, RunColours& code) const;
  /// True where some channel of the codes has lost its light.
  [[nodiscard]] bool clipped(const RunColours& code, std::size_t i) const;

 private:
  [[nodiscard]] std::array<float, 3> code_at(const Vec2& px) const;

  const LensMap& map_;
  const PictureSampler& sampler_;
  const TransferCurve& transfer_;
  ChannelGains gains_;
  bool clips_;  // integer samples end at white; float samples go on
  LensPixels pixels_;
};

}  // namespace seamwright
