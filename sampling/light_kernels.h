#pragma once

// The inner loops of rendering, for runs of source positions: sample, decode, shade, encode.
//
// Written once with Highway (https://github.com/google/highway) and compiled for every instruction
// set that a machine may have; the best one is taken when the program starts. All of them do the
// same operations on single floats in the same order, with no fused multiply-add: results are equal
// to the bit, and so are the files.

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "imaging/tone_table.h"
#include "sampling/picture_sampler.h"
#include "sampling/source_run.h"

namespace seamwright {

/// Red, green, blue.
using RunColours = std::array<RunPlane, 3>;

/// What of a lens acts on single pixels.
struct LensPixels {
  float centre_x = 0;
  float centre_y = 0;
  float inverse_rim_square = 1;                  ///< 1/px²
  bool fringes = false;                          ///< red or blue lie elsewhere than green
  std::array<std::array<float, 4>, 3> fringe{};  ///< FringeTerms a0, a1, a2 of red, 0, blue, 0
  std::array<float, 3> vignetting{};             ///< VignettingTerms
  std::array<float, 3> gains{1, 1, 1};
  bool clips = true;  ///< integer samples end at white
};

/// What a blend makes of light: four floats a position, the last one meaningless. Empty: nothing.
struct ToneRun {
  const float* gain = nullptr;
  const float* add = nullptr;
};

/// What a blend makes of a run's light: red, green, blue and nothing of each position.
struct RunTones {
  static constexpr std::size_t kFloats = 4;  ///< of a position

  alignas(64) std::array<float, kFloats*(kMostRun + kRunSlack)> gain;
  alignas(64) std::array<float, kFloats*(kMostRun + kRunSlack)> add;

  [[nodiscard]] ToneRun run() const { return {gain.data(), add.data()}; }
};

/// Reads every position once, each colour at its own place: 4 floats a position in `codes` (the
/// last one meaningless), on the raster's own scale. Beyond the border the border's samples repeat;
/// results stay within the range of their samples. Grey frames give three equal values.
void sample_run(const PictureSampler::Raster& raster, const KernelWeights& kernel,
                const LensPixels& lens, const SourceRun& run, float* codes);

/// Code values of sample_run() apart by colour, `white` made 1, and their light. `tones` null:
/// codes are light; else codes beyond 0…1 are held to it.
void decode_run(const float* codes, std::size_t count, float white,
                const std::array<const ToneTable*, 3>& tones, RunColours& code, RunColours& light);

/// Divides vignetting out, applies gain and tone: LensShader, for runs. `light` in and out.
void shade_run(const LensPixels& lens, const SourceRun& run, const RunColours& code,
               const ToneRun& tone, RunColours& light);

/// Encodes `count` pixels from `first` on, interleaved, `colours` 1 or 3. `tones` null: linear.
void encode_run(const RunColours& light, std::size_t first, std::size_t count, int colours,
                const std::array<const ToneTable*, 3>& tones, std::uint16_t* out);

}  // namespace seamwright
