#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

/// IEC 61966-2-1 decoding, code 0…1 to light 0…1; extended linearly below 0, by the formula above 1.
[[nodiscard]] double srgb_to_linear(double code);
/// IEC 61966-2-1 encoding, light 0…1 to code 0…1.
[[nodiscard]] double linear_to_srgb(double light);

/// Tone curve between code values (0…1) and light (0…1), per channel, monotonic. Tables are fine
/// enough that decode followed by encode returns every 16-bit code value unchanged.
class TransferCurve {
 public:
  [[nodiscard]] static TransferCurve srgb();
  [[nodiscard]] static TransferCurve linear();
  /// The tone curves of an image: from its ICC profile (matrix/TRC or grey profiles, read with
  /// lcms2), else from `image.transfer`. Fails on a broken profile or one without tone curves.
  [[nodiscard]] static Result<TransferCurve> of(const Image& image);

  /// `channel` 0…2; grey images use 0.
  [[nodiscard]] float to_linear(float code, int channel) const;
  [[nodiscard]] float from_linear(float light, int channel) const;

  [[nodiscard]] bool is_linear() const { return decode_[0].empty(); }

 private:
  std::vector<float> decode_[3];  // code → light on an even grid; empty means identity
  std::vector<float> encode_[3];  // light^(1/2) → code on an even grid (fine near black)
};

}  // namespace seamwright
