#include "compose/light_kernels.h"

#include <algorithm>
#include <cmath>
#include <limits>

// Highway compiles what follows once for each instruction set. Its portable four-lane target is
// left out for GCC before 12.3, in favour of one lane, which has no room for three colours; the
// tests hold it against the others here.
#define HWY_BROKEN_EMU128 0
#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "compose/light_kernels.cc"
#include <hwy/foreach_target.h>
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace seamwright {
namespace HWY_NAMESPACE {
namespace {

namespace hn = hwy::HWY_NAMESPACE;

// --- sampling: lanes are red, green, blue and nothing of one tap, and of the tap right of it
// -------

using Four = hn::FixedTag<float, 4>;
using FourInts = hn::FixedTag<std::int32_t, 4>;
using F4 = hn::Vec<Four>;
using I4 = hn::Vec<FourInts>;

// Eight lanes: one vector where the machine has such, else two. Either way the same sums.
#if HWY_MAX_BYTES >= 32
using Eight = hn::FixedTag<float, 8>;
using F8 = hn::Vec<Eight>;
HWY_INLINE F8 both(F4 value) { return hn::Combine(Eight(), value, value); }
HWY_INLINE F8 pair_of(F4 left, F4 right) { return hn::Combine(Eight(), right, left); }
HWY_INLINE F4 left_of(F8 pair) { return hn::LowerHalf(Four(), pair); }
HWY_INLINE F4 right_of(F8 pair) { return hn::UpperHalf(Four(), pair); }
HWY_INLINE F8 add(F8 a, F8 b) { return hn::Add(a, b); }
HWY_INLINE F8 multiply(F8 a, F8 b) { return hn::Mul(a, b); }
HWY_INLINE F8 lesser(F8 a, F8 b) { return hn::Min(a, b); }
HWY_INLINE F8 greater(F8 a, F8 b) { return hn::Max(a, b); }
#else
struct F8 {
  F4 left, right;
};
HWY_INLINE F8 both(F4 value) { return {value, value}; }
HWY_INLINE F8 pair_of(F4 left, F4 right) { return {left, right}; }
HWY_INLINE F4 left_of(F8 pair) { return pair.left; }
HWY_INLINE F4 right_of(F8 pair) { return pair.right; }
HWY_INLINE F8 add(F8 a, F8 b) { return {hn::Add(a.left, b.left), hn::Add(a.right, b.right)}; }
HWY_INLINE F8 multiply(F8 a, F8 b) { return {hn::Mul(a.left, b.left), hn::Mul(a.right, b.right)}; }
HWY_INLINE F8 lesser(F8 a, F8 b) { return {hn::Min(a.left, b.left), hn::Min(a.right, b.right)}; }
HWY_INLINE F8 greater(F8 a, F8 b) { return {hn::Max(a.left, b.left), hn::Max(a.right, b.right)}; }
#endif
HWY_INLINE F8 eight(float value) { return both(hn::Set(Four(), value)); }

// Eight samples from an RGB pixel on: the first six of them, spread over two taps.
HWY_INLINE F8 spread(hn::Vec<hn::FixedTag<std::uint16_t, 8>> samples) {
  const hn::FixedTag<std::uint8_t, 16> bytes;
  alignas(16) static constexpr std::array<std::uint8_t, 16> kPlaces{0, 1, 2, 3, 4,  5,  0x80, 0x80,
                                                                    6, 7, 8, 9, 10, 11, 0x80, 0x80};
  const hn::FixedTag<std::uint16_t, 8> words;
  const auto apart = hn::BitCast(
      words, hn::TableLookupBytesOr0(hn::BitCast(bytes, samples), hn::Load(bytes, kPlaces.data())));
#if HWY_MAX_BYTES >= 32
  return hn::ConvertTo(Eight(), hn::PromoteTo(hn::FixedTag<std::int32_t, 8>(), apart));
#else
  const auto left = hn::LowerHalf(hn::FixedTag<std::uint16_t, 4>(), apart);
  const auto right = hn::UpperHalf(hn::FixedTag<std::uint16_t, 4>(), apart);
  return {hn::ConvertTo(Four(), hn::PromoteTo(FourInts(), left)),
          hn::ConvertTo(Four(), hn::PromoteTo(FourInts(), right))};
#endif
}
template <class T>
HWY_INLINE F4 one_tap(const T* samples) {
  const auto four = hn::LoadU(hn::Rebind<T, Four>(), samples);
  if constexpr (std::is_same_v<T, float>) {
    return four;
  } else {
    return hn::ConvertTo(Four(), hn::PromoteTo(FourInts(), four));
  }
}

// Samples that `two_taps` may touch from a tap on.
constexpr int kTouched = 8;

// All colours from the same pixels.
template <class T>
struct Together {
  const T* corner;
  std::ptrdiff_t pixel;
  std::ptrdiff_t pitch;

  HWY_INLINE F8 operator()(std::ptrdiff_t row, std::ptrdiff_t column) const {
    const T* at = corner + row * pitch + column * pixel;
    if constexpr (std::is_same_v<T, std::uint16_t>) {
      if (pixel == 3) return spread(hn::LoadU(hn::FixedTag<std::uint16_t, 8>(), at));
    }
    return pair_of(one_tap(at), one_tap(at + pixel));
  }
};

// Each colour from its own pixels.
template <class T>
struct Apart {
  std::array<const T*, 3> corner;
  std::ptrdiff_t pixel;
  std::ptrdiff_t pitch;

  HWY_INLINE F8 operator()(std::ptrdiff_t row, std::ptrdiff_t column) const {
    const std::ptrdiff_t at = row * pitch + column * pixel;
    if constexpr (std::is_same_v<T, std::uint16_t>) {
      if (pixel == 3) return spread(mixed(at));
    }
    return pair_of(mixed_tap(at), mixed_tap(at + pixel));
  }

 private:
  HWY_INLINE auto mixed(std::ptrdiff_t at) const {
    const hn::FixedTag<std::uint16_t, 8> d;
    constexpr std::uint16_t kAll = 0xFFFF;
    alignas(16) static constexpr std::array<std::uint16_t, 8> kRed{kAll, 0, 0, kAll, 0, 0, 0, 0};
    alignas(16) static constexpr std::array<std::uint16_t, 8> kGreen{0, kAll, 0, 0, kAll, 0, 0, 0};
    const auto red = hn::MaskFromVec(hn::Load(d, kRed.data()));
    const auto green = hn::MaskFromVec(hn::Load(d, kGreen.data()));
    return hn::IfThenElse(
        red, hn::LoadU(d, corner[0] + at),
        hn::IfThenElse(green, hn::LoadU(d, corner[1] + at), hn::LoadU(d, corner[2] + at)));
  }
  HWY_INLINE F4 mixed_tap(std::ptrdiff_t at) const {
    const auto first = hn::FirstN(Four(), 1);
    const auto second = hn::FirstN(Four(), 2);
    return hn::IfThenElse(first, one_tap(corner[0] + at),
                          hn::IfThenElse(second, one_tap(corner[1] + at), one_tap(corner[2] + at)));
  }
};

// Any window, any number of channels, pixels beyond the border held.
template <class T>
struct Held {
  const T* samples;
  std::array<std::int32_t, 4> column;
  std::array<std::int32_t, 4> row;
  int width, height, channels;

  HWY_INLINE F8 operator()(std::ptrdiff_t down, std::ptrdiff_t right) const {
    return pair_of(tap(down, right), tap(down, right + 1));
  }

 private:
  HWY_INLINE F4 tap(std::ptrdiff_t down, std::ptrdiff_t right) const {
    alignas(16) std::array<float, 4> value{};
    for (std::size_t c = 0; c < 3; ++c) {
      std::ptrdiff_t x = column[c] + right;
      std::ptrdiff_t y = row[c] + down;
      x = x < 0 ? 0 : (x < width ? x : width - 1);
      y = y < 0 ? 0 : (y < height ? y : height - 1);
      const std::ptrdiff_t pixel = (y * width + x) * channels;
      value[c] = static_cast<float>(samples[pixel + (channels < 3 ? 0 : static_cast<int>(c))]);
    }
    return hn::Load(Four(), value.data());
  }
};

HWY_INLINE F8 lanes(float left, float right) {
  return pair_of(hn::Set(Four(), left), hn::Set(Four(), right));
}

// Weights of the four cubic taps (Keys 1981, a = -1/2) at distance t past the second one: two pairs
// of neighbours across, four single ones down.
struct CubicTaps {
  std::array<F8, 2> across;
  std::array<F8, 4> down;
  static constexpr int kPairs = 2;

  HWY_INLINE CubicTaps(F4 right, F4 below) {
    const F8 x = both(right);
    F8 sum = add(multiply(lanes(-0.5F, 1.5F), x), lanes(1, -2.5F));
    sum = add(multiply(sum, x), lanes(-0.5F, 0));
    across[0] = add(multiply(sum, x), lanes(0, 1));
    sum = add(multiply(lanes(-1.5F, 0.5F), x), lanes(2, -0.5F));
    across[1] = multiply(add(multiply(sum, x), lanes(0.5F, 0)), x);

    const F8 y = both(below);
    const F8 y2 = multiply(y, y);
    const F8 half_y = multiply(eight(0.5F), y);
    const F8 bend = add(y2, multiply(eight(-1), half_y));
    down[0] = add(bend, multiply(eight(-0.5F), multiply(y2, y)));  // −y³/2 + y² − y/2
    down[1] = add(multiply(y2, add(multiply(eight(1.5F), y), eight(-2.5F))), eight(1));
    down[2] = add(multiply(y2, add(multiply(eight(-1.5F), y), eight(2))), half_y);
    down[3] = multiply(y2, add(half_y, eight(-0.5F)));
  }
  [[nodiscard]] HWY_INLINE int pairs() const { return kPairs; }
  [[nodiscard]] HWY_INLINE F8 pair(int i) const { return across[static_cast<std::size_t>(i)]; }
  [[nodiscard]] HWY_INLINE F8 row(int j) const { return down[static_cast<std::size_t>(j)]; }
};

// The same of any kernel, from its table.
class TableTaps {
 public:
  HWY_INLINE TableTaps(const KernelWeights& kernel, bool apart, F4 right, F4 below, float* room)
      : pairs_(kernel.taps() / 2), across_(room), down_(room + 4 * KernelWeights::kMaxTaps) {
    look_up(kernel, right, apart, across_);
    look_up(kernel, below, apart, down_);
  }
  [[nodiscard]] HWY_INLINE int pairs() const { return pairs_; }
  [[nodiscard]] HWY_INLINE F8 pair(int i) const {
    return pair_of(hn::Load(Four(), across_ + 8 * i), hn::Load(Four(), across_ + 8 * i + 4));
  }
  [[nodiscard]] HWY_INLINE F8 row(int j) const { return both(hn::Load(Four(), down_ + 4 * j)); }

  static constexpr std::size_t kRoom = std::size_t{8} * KernelWeights::kMaxTaps;

 private:
  static HWY_INLINE void look_up(const KernelWeights& kernel, F4 t, bool apart, float* weights) {
    alignas(16) std::array<float, 4> fraction{};
    std::array<float, KernelWeights::kMaxTaps> of_one;
    hn::Store(t, Four(), fraction.data());
    for (std::size_t c = 0; c < 4; ++c) {
      if (c == 0 || (apart && c < 3)) kernel.at(static_cast<double>(fraction[c]), of_one.data());
      for (std::size_t i = 0; i < static_cast<std::size_t>(kernel.taps()); ++i) {
        weights[4 * i + c] = of_one[i];
      }
    }
  }

  int pairs_;
  float* across_;
  float* down_;
};

// The separable sum, held within the range of its samples.
template <class Taps, class Window>
HWY_INLINE F4 weigh(const Taps& taps, const Window& window) {
  F8 sum = eight(0);
  F8 low = eight(std::numeric_limits<float>::max());
  F8 high = eight(std::numeric_limits<float>::lowest());
  for (int j = 0; j < 2 * taps.pairs(); ++j) {
    F8 line = eight(0);
    for (int i = 0; i < taps.pairs(); ++i) {
      const F8 value = window(j, 2 * i);
      const F8 weighted = multiply(taps.pair(i), value);
      line = i == 0 ? weighted : add(line, weighted);
      low = lesser(low, value);
      high = greater(high, value);
    }
    sum = add(sum, multiply(taps.row(j), line));
  }
  const F4 all = hn::Add(left_of(sum), right_of(sum));
  const F4 least = hn::Min(left_of(low), right_of(low));
  const F4 most = hn::Max(left_of(high), right_of(high));
  return hn::Min(hn::Max(all, least), most);
}

template <class T>
class Reader {
 public:
  // More is loaded than six samples for two taps: places from two pixels before the border on count
  // as outside. So do all of a raster whose samples 32 bits cannot count.
  Reader(const PictureSampler::Raster& raster, int taps)
      : raster_(raster),
        samples_(reinterpret_cast<const T*>(raster.samples)),
        pitch_(raster.width * raster.channels) {
    const std::int64_t samples =
        static_cast<std::int64_t>(raster.width) * raster.height * raster.channels;
    const bool plain = raster.channels >= 3 && samples < std::numeric_limits<std::int32_t>::max();
    most_column_ = plain ? raster.width - taps - kTouched / 3 : -1;
    most_row_ = plain ? raster.height - taps : -1;
  }

  // `column` and `row` of the first taps, of each colour.
  template <class Taps>
  HWY_INLINE F4 read(const Taps& taps, I4 column, I4 row) const {
    const FourInts d;
    const auto before = hn::Or(column, row);  // negative where either is
    const auto beyond =
        hn::Or(hn::Sub(hn::Set(d, most_column_), column), hn::Sub(hn::Set(d, most_row_), row));
    if (!hn::AllFalse(d, hn::Lt(hn::Min(before, beyond), hn::Zero(d)))) {
      return weigh(taps, held(column, row));
    }
    const auto at =
        hn::Add(hn::Mul(row, hn::Set(d, pitch_)), hn::Mul(column, hn::Set(d, raster_.channels)));
    const auto first = hn::Set(d, hn::GetLane(at));
    if (hn::AllTrue(d, hn::Eq(at, first))) {
      return weigh(taps, Together<T>{samples_ + hn::GetLane(at), raster_.channels, pitch_});
    }
    alignas(16) std::array<std::int32_t, 4> places;
    hn::Store(at, d, places.data());
    return weigh(taps, Apart<T>{{samples_ + places[0], samples_ + places[1], samples_ + places[2]},
                                raster_.channels,
                                pitch_});
  }

 private:
  HWY_INLINE Held<T> held(I4 column, I4 row) const {
    Held<T> window{samples_, {}, {}, raster_.width, raster_.height, raster_.channels};
    hn::StoreU(column, FourInts(), window.column.data());
    hn::StoreU(row, FourInts(), window.row.data());
    return window;
  }

  const PictureSampler::Raster& raster_;
  const T* samples_;
  std::int32_t pitch_;
  std::int32_t most_column_;
  std::int32_t most_row_;
};

template <class T, bool kCubic>
void sample_positions(const PictureSampler::Raster& raster, const KernelWeights& kernel,
                      const LensPixels& lens, const SourceRun& run, float* codes) {
  const Four d;
  const FourInts ints;
  const Reader<T> reader(raster, kernel.taps());
  const float from_centre_x = static_cast<float>(run.anchor_x) - lens.centre_x;
  const float from_centre_y = static_cast<float>(run.anchor_y) - lens.centre_y;
  const F4 a0 = hn::LoadU(d, lens.fringe[0].data());
  const F4 a1 = hn::LoadU(d, lens.fringe[1].data());
  const F4 a2 = hn::LoadU(d, lens.fringe[2].data());
  const auto first_column = hn::Set(ints, run.anchor_x - kernel.taps() / 2 + 1);
  const auto first_row = hn::Set(ints, run.anchor_y - kernel.taps() / 2 + 1);
  alignas(16) std::array<float, kCubic ? 4 : TableTaps::kRoom> room;
  for (std::size_t i = 0; i < run.count; ++i) {
    F4 x = hn::Set(d, run.x[i] - 0.5F);
    F4 y = hn::Set(d, run.y[i] - 0.5F);
    if (lens.fringes) {
      const float cx = run.x[i] + from_centre_x;
      const float cy = run.y[i] + from_centre_y;
      const F4 q = hn::Set(d, (cx * cx + cy * cy) * lens.inverse_rim_square);
      const F4 off = hn::Add(a0, hn::Mul(q, hn::Add(a1, hn::Mul(q, a2))));
      x = hn::Add(x, hn::Mul(off, hn::Set(d, cx)));
      y = hn::Add(y, hn::Mul(off, hn::Set(d, cy)));
    }
    const F4 whole_x = hn::Floor(x);
    const F4 whole_y = hn::Floor(y);
    const I4 column = hn::Add(hn::ConvertTo(ints, whole_x), first_column);
    const I4 row = hn::Add(hn::ConvertTo(ints, whole_y), first_row);
    const F4 right = hn::Sub(x, whole_x);
    const F4 below = hn::Sub(y, whole_y);
    if constexpr (kCubic) {
      hn::StoreU(reader.read(CubicTaps(right, below), column, row), d, codes + 4 * i);
    } else {
      const TableTaps taps(kernel, lens.fringes, right, below, room.data());
      hn::StoreU(reader.read(taps, column, row), d, codes + 4 * i);
    }
  }
}

template <class T>
void sample_as(const PictureSampler::Raster& raster, const KernelWeights& kernel,
               const LensPixels& lens, const SourceRun& run, float* codes) {
  if (kernel.is_catmull_rom()) return sample_positions<T, true>(raster, kernel, lens, run, codes);
  sample_positions<T, false>(raster, kernel, lens, run, codes);
}

void sample(const PictureSampler::Raster& raster, const KernelWeights& kernel,
            const LensPixels& lens, const SourceRun& run, float* codes) {
  switch (raster.type) {
    case SampleType::u8:
      return sample_as<std::uint8_t>(raster, kernel, lens, run, codes);
    case SampleType::u16:
      return sample_as<std::uint16_t>(raster, kernel, lens, run, codes);
    case SampleType::f32:
      return sample_as<float>(raster, kernel, lens, run, codes);
  }
}

// --- everything else: lanes are neighbouring positions
// --------------------------------------------

using Many = hn::CappedTag<float, kRunSlack>;
using ManyInts = hn::RebindToSigned<Many>;
using ManyBits = hn::RebindToUnsigned<Many>;
using FN = hn::Vec<Many>;

// Lanes of one colour, white at 1.
HWY_INLINE FN decoded(FN code, const ToneTable* tone) {
  if (tone == nullptr) return code;
  const Many d;
  const float* table = tone->light_of_codes().data();
  const FN most = hn::Set(d, static_cast<float>(ToneTable::kCodes - 1));
  const FN at = hn::Min(hn::Max(hn::Mul(code, most), hn::Zero(d)), most);
  const auto index = hn::ConvertTo(ManyInts(), at);
  const FN low = hn::GatherIndex(d, table, index);
  const FN high = hn::GatherIndex(d, table + 1, index);
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
  constexpr float kNearly = 0.92F;
  constexpr float kClipped = 0.985F;
  const Many d;
  const FN one = hn::Set(d, 1.0F);
  FN t = hn::Div(hn::Sub(code, hn::Set(d, kNearly)), hn::Set(d, kClipped - kNearly));
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

void shade(const LensPixels& lens, const SourceRun& run, const RunColours& code,
           const ToneRun& tone, RunColours& light) {
  const Many d;
  const FN one = hn::Set(d, 1.0F);
  for (std::size_t i = 0; i < run.count; i += hn::Lanes(d)) {
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
      if (tone.gain != nullptr) {
        toned = hn::Add(hn::Mul(plain, hn::LoadU(d, (*tone.gain)[c].data() + i)),
                        hn::LoadU(d, (*tone.add)[c].data() + i));
      }
      toned = hn::Max(toned, hn::Zero(d));
      hn::StoreU(hn::Add(toned, hn::Mul(share, hn::Sub(plain, toned))), d, light[c].data() + i);
    }
  }
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
    const FN low = hn::GatherIndex(d, table.codes.data(), index);
    const FN high = hn::GatherIndex(d, table.codes.data() + 1, index);
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

HWY_EXPORT(sample);
HWY_EXPORT(decode);
HWY_EXPORT(shade);
HWY_EXPORT(encode);

void sample_run(const PictureSampler::Raster& raster, const KernelWeights& kernel,
                const LensPixels& lens, const SourceRun& run, float* codes) {
  HWY_DYNAMIC_DISPATCH(sample)(raster, kernel, lens, run, codes);
}

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
