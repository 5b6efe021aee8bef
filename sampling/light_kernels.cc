#include "sampling/light_kernels.h"

#include <cmath>
#include <limits>

// Highway compiles what follows once for each instruction set; for plain C++ see sample_kernels.cc.
#define HWY_BROKEN_EMU128 0
#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "sampling/light_kernels.cc"
#include <hwy/foreach_target.h>
#include <hwy/highway.h>

#include "imaging/clipping.h"

HWY_BEFORE_NAMESPACE();
namespace seamwright {
namespace HWY_NAMESPACE {
namespace {

namespace hn = hwy::HWY_NAMESPACE;

// Lanes are neighbouring positions.
using Many = hn::CappedTag<float, kRunSlack>;
using ManyInts = hn::RebindToSigned<Many>;
using ManyBits = hn::RebindToUnsigned<Many>;
using FN = hn::Vec<Many>;

// Entries `index` and `index + 1` of a table. They lie side by side and are fetched as one number:
// what gathering costs is the number of lanes.
struct Neighbours {
  FN low, high;
};
HWY_INLINE Neighbours neighbours(const float* table, hn::Vec<ManyInts> index) {
  const Many d;
  const hn::Repartition<std::int64_t, Many> wide;
  const hn::Half<ManyInts> half;
  const auto* pairs = reinterpret_cast<const std::int64_t*>(table);
  const auto fetched = [&](hn::Vec<hn::Half<ManyInts>> at) {
    return hn::BitCast(d, hn::GatherOffset(wide, pairs, hn::ShiftLeft<2>(hn::PromoteTo(wide, at))));
  };
  const FN left = fetched(hn::LowerHalf(half, index));
  const FN right = fetched(hn::UpperHalf(half, index));
  return {hn::ConcatEven(d, right, left), hn::ConcatOdd(d, right, left)};
}

// Lanes of one colour, white at 1.
HWY_INLINE FN decoded(FN code, const ToneTable* tone) {
  if (tone == nullptr) return code;
  const Many d;
  const float* table = tone->light_of_codes().data();
  const FN most = hn::Set(d, static_cast<float>(ToneTable::kCodes - 1));
  const FN at = hn::Min(hn::Max(hn::Mul(code, most), hn::Zero(d)), most);
  const auto index = hn::ConvertTo(ManyInts(), at);
  const auto [low, high] = neighbours(table, index);
  return hn::Add(low, hn::Mul(hn::Sub(at, hn::ConvertTo(d, index)), hn::Sub(high, low)));
}

void decode(const float* codes, std::size_t count, float white,
            const std::array<const ToneTable*, 3>& tones, RunColours& code, RunColours& light) {
  const Many d;
  const FN all = hn::Set(d, white);
  for (std::size_t i = 0; i < count; i += hn::Lanes(d)) {
    FN red;
    FN green;
    FN blue;
    FN nothing;
    hn::LoadInterleaved4(d, codes + 4 * i, red, green, blue, nothing);
    red = hn::Div(red, all);
    green = hn::Div(green, all);
    blue = hn::Div(blue, all);
    hn::StoreU(red, d, code[0].data() + i);
    hn::StoreU(green, d, code[1].data() + i);
    hn::StoreU(blue, d, code[2].data() + i);
    hn::StoreU(decoded(red, tones[0]), d, light[0].data() + i);
    hn::StoreU(decoded(green, tones[1]), d, light[1].data() + i);
    hn::StoreU(decoded(blue, tones[2]), d, light[2].data() + i);
  }
}

// 0 up to nearly clipped, 1 from clipped on, smooth between: lens_shader.h.
HWY_INLINE FN clipped_share(FN code) {
  const Many d;
  const FN one = hn::Set(d, 1.0F);
  FN t = hn::Div(hn::Sub(code, hn::Set(d, clipping::kGivesWayFrom)),
                 hn::Set(d, clipping::kGone - clipping::kGivesWayFrom));
  t = hn::Min(hn::Max(t, hn::Zero(d)), one);
  return hn::Mul(hn::Mul(t, t), hn::Sub(hn::Set(d, 3.0F), hn::Add(t, t)));
}

HWY_INLINE FN brightness(const LensPixels& lens, const SourceRun& run, std::size_t i) {
  constexpr float kLeast = 0.05F;
  const Many d;
  const FN x = hn::Add(hn::LoadU(d, run.x.data() + i),
                       hn::Set(d, static_cast<float>(run.anchor_x) - lens.centre_x));
  const FN y = hn::Add(hn::LoadU(d, run.y.data() + i),
                       hn::Set(d, static_cast<float>(run.anchor_y) - lens.centre_y));
  const FN q = hn::Mul(hn::Add(hn::Mul(x, x), hn::Mul(y, y)), hn::Set(d, lens.inverse_rim_square));
  FN sum = hn::Add(hn::Set(d, lens.vignetting[1]), hn::Mul(q, hn::Set(d, lens.vignetting[2])));
  sum = hn::Add(hn::Set(d, lens.vignetting[0]), hn::Mul(q, sum));
  return hn::Max(hn::Add(hn::Set(d, 1.0F), hn::Mul(q, sum)), hn::Set(d, kLeast));
}

struct Colours {
  FN colour[3];
};
HWY_INLINE Colours three_of_four(const float* fours) {
  Colours loaded;
  FN nothing;
  hn::LoadInterleaved4(Many(), fours, loaded.colour[0], loaded.colour[1], loaded.colour[2],
                       nothing);
  return loaded;
}

template <bool kToned>
HWY_INLINE void shade_as(const LensPixels& lens, const SourceRun& run, const RunColours& code,
                         const ToneRun& tone, RunColours& light) {
  const Many d;
  const FN one = hn::Set(d, 1.0F);
  for (std::size_t i = 0; i < run.count; i += hn::Lanes(d)) {
    Colours gain;
    Colours add;
    if constexpr (kToned) {
      gain = three_of_four(tone.gain + 4 * i);
      add = three_of_four(tone.add + 4 * i);
    }
    const FN inverse = hn::Div(one, brightness(lens, run, i));
    for (std::size_t c = 0; c < 3; ++c) {
      FN factor = hn::Mul(hn::Set(d, lens.gains[c]), inverse);
      FN share = hn::Zero(d);
      if (lens.clips) {
        share = clipped_share(hn::LoadU(d, code[c].data() + i));
        factor = hn::Add(factor, hn::Mul(share, hn::Max(hn::Sub(one, factor), hn::Zero(d))));
      }
      const FN plain = hn::Mul(hn::LoadU(d, light[c].data() + i), factor);
      FN toned = plain;
      if constexpr (kToned) toned = hn::Add(hn::Mul(plain, gain.colour[c]), add.colour[c]);
      toned = hn::Max(toned, hn::Zero(d));
      hn::StoreU(hn::Add(toned, hn::Mul(share, hn::Sub(plain, toned))), d, light[c].data() + i);
    }
  }
}

void shade(const LensPixels& lens, const SourceRun& run, const RunColours& code,
           const ToneRun& tone, RunColours& light) {
  if (tone.gain == nullptr) return shade_as<false>(lens, run, code, tone, light);
  return shade_as<true>(lens, run, code, tone, light);
}

// 16-bit codes; black where there is no light or no number.
HWY_INLINE auto encoded(FN light, const ToneTable* tone) {
  const Many d;
  FN code = light;
  if (tone != nullptr) {
    const ToneTable::Encoding table = tone->encoding();
    const ManyBits bits;
    const auto above = hn::Sub(hn::BitCast(bits, light), hn::Set(bits, table.first_bits));
    const auto step = hn::ShiftRightSame(above, static_cast<int>(table.step_shift));
    const auto last = hn::Set(bits, static_cast<std::uint32_t>(table.codes.size() - 2));
    const auto index = hn::BitCast(ManyInts(), hn::Min(step, last));
    const auto rest = hn::And(above, hn::Set(bits, (1U << table.step_shift) - 1U));
    const FN part = hn::Mul(hn::ConvertTo(d, hn::BitCast(ManyInts(), rest)),
                            hn::Set(d, 1.0F / static_cast<float>(1U << table.step_shift)));
    const auto [low, high] = neighbours(table.codes.data(), index);
    code = hn::Add(low, hn::Mul(part, hn::Sub(high, low)));
    const auto lit = hn::Ge(light, hn::BitCast(d, hn::Set(bits, table.first_bits)));
    code = hn::IfThenElseZero(lit, code);
  }
  code = hn::Min(hn::Max(code, hn::Zero(d)), hn::Set(d, 1.0F));
  const FN scaled = hn::Add(hn::Mul(code, hn::Set(d, 65535.0F)), hn::Set(d, 0.5F));
  return hn::DemoteTo(hn::Rebind<std::uint16_t, Many>(), hn::ConvertTo(ManyInts(), scaled));
}

void encode(const RunColours& light, std::size_t first, std::size_t count, int colours,
            const std::array<const ToneTable*, 3>& tones, std::uint16_t* out) {
  const Many d;
  const hn::Rebind<std::uint16_t, Many> codes;
  const std::size_t lanes = hn::Lanes(d);
  alignas(64) std::array<std::uint16_t, 3 * kRunSlack> rest;
  for (std::size_t i = 0; i < count; i += lanes) {
    const std::size_t now = count - i < lanes ? count - i : lanes;
    const std::size_t at = first + i;
    const auto red = encoded(hn::LoadU(d, light[0].data() + at), tones[0]);
    std::uint16_t* to = now == lanes ? out : rest.data();
    if (colours == 1) {
      hn::StoreU(red, codes, to);
    } else {
      const auto green = encoded(hn::LoadU(d, light[1].data() + at), tones[1]);
      const auto blue = encoded(hn::LoadU(d, light[2].data() + at), tones[2]);
      hn::StoreInterleaved3(red, green, blue, codes, to);
    }
    const std::size_t samples = now * static_cast<std::size_t>(colours);
    if (to != out) {
      for (std::size_t k = 0; k < samples; ++k) out[k] = rest[k];
    }
    out += samples;
  }
}

}  // namespace
}  // namespace HWY_NAMESPACE
}  // namespace seamwright
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace seamwright {

HWY_EXPORT(decode);
HWY_EXPORT(shade);
HWY_EXPORT(encode);

void decode_run(const float* codes, std::size_t count, float white,
                const std::array<const ToneTable*, 3>& tones, RunColours& code, RunColours& light) {
  HWY_DYNAMIC_DISPATCH(decode)(codes, count, white, tones, code, light);
}

void shade_run(const LensPixels& lens, const SourceRun& run, const RunColours& code,
               const ToneRun& tone, RunColours& light) {
  HWY_DYNAMIC_DISPATCH(shade)(lens, run, code, tone, light);
}

void encode_run(const RunColours& light, std::size_t first, std::size_t count, int colours,
                const std::array<const ToneTable*, 3>& tones, std::uint16_t* out) {
  HWY_DYNAMIC_DISPATCH(encode)(light, first, count, colours, tones, out);
}

}  // namespace seamwright
#endif
