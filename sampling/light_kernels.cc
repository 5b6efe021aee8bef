#include "sampling/light_kernels.h"

#include <algorithm>
#include <cmath>
#include <limits>

// Highway compiles what follows once for each instruction set. Its portable four-lane target is
// left out for GCC before 12.3, in favour of one lane, which has no room for three colours; the
// tests hold it against the others here.
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

// Lanes are neighbouring positions, everywhere but where samples are weighed.
using Many = hn::CappedTag<float, kRunSlack>;
using ManyInts = hn::RebindToSigned<Many>;
using ManyBits = hn::RebindToUnsigned<Many>;
using FN = hn::Vec<Many>;

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

// Sixteen lanes, a row of four taps: one vector or two pairs, and again the same sums.
#if HWY_MAX_BYTES >= 64
using Sixteen = hn::FixedTag<float, 16>;
using F16 = hn::Vec<Sixteen>;
HWY_INLINE F16 row_of(F8 left, F8 right) { return hn::Combine(Sixteen(), right, left); }
HWY_INLINE F8 left_of(F16 row) { return hn::LowerHalf(Eight(), row); }
HWY_INLINE F8 right_of(F16 row) { return hn::UpperHalf(Eight(), row); }
HWY_INLINE F16 add(F16 a, F16 b) { return hn::Add(a, b); }
HWY_INLINE F16 multiply(F16 a, F16 b) { return hn::Mul(a, b); }
HWY_INLINE F16 lesser(F16 a, F16 b) { return hn::Min(a, b); }
HWY_INLINE F16 greater(F16 a, F16 b) { return hn::Max(a, b); }
HWY_INLINE void store_row(F16 row, float* aligned) { hn::Store(row, Sixteen(), aligned); }
HWY_INLINE F16 four_times(const float* four) { return hn::LoadDup128(Sixteen(), four); }
#else
struct F16 {
  F8 left, right;
};
HWY_INLINE F16 row_of(F8 left, F8 right) { return {left, right}; }
HWY_INLINE F8 left_of(F16 row) { return row.left; }
HWY_INLINE F8 right_of(F16 row) { return row.right; }
HWY_INLINE F16 add(F16 a, F16 b) { return {add(a.left, b.left), add(a.right, b.right)}; }
HWY_INLINE F16 multiply(F16 a, F16 b) {
  return {multiply(a.left, b.left), multiply(a.right, b.right)};
}
HWY_INLINE F16 lesser(F16 a, F16 b) { return {lesser(a.left, b.left), lesser(a.right, b.right)}; }
HWY_INLINE F16 greater(F16 a, F16 b) {
  return {greater(a.left, b.left), greater(a.right, b.right)};
}
HWY_INLINE void store_row(F16 row, float* aligned) {
  hn::Store(left_of(row.left), Four(), aligned);
  hn::Store(right_of(row.left), Four(), aligned + 4);
  hn::Store(left_of(row.right), Four(), aligned + 8);
  hn::Store(right_of(row.right), Four(), aligned + 12);
}
HWY_INLINE F16 four_times(const float* four) {
  const F8 pair = both(hn::Load(Four(), four));
  return {pair, pair};
}
#endif

// From an RGB pixel on: where the first six of eight samples go that make two taps.
alignas(16) constexpr std::array<std::uint8_t, 16> kTwoTaps{0, 1, 2, 3, 4,  5,  0x80, 0x80,
                                                            6, 7, 8, 9, 10, 11, 0x80, 0x80};
using EightWords = hn::FixedTag<std::uint16_t, 8>;
using W8 = hn::Vec<EightWords>;

HWY_INLINE F8 spread(W8 samples) {
  const hn::FixedTag<std::uint8_t, 16> bytes;
  const auto apart = hn::BitCast(
      EightWords(),
      hn::TableLookupBytesOr0(hn::BitCast(bytes, samples), hn::Load(bytes, kTwoTaps.data())));
#if HWY_MAX_BYTES >= 32
  return hn::ConvertTo(Eight(), hn::PromoteTo(hn::FixedTag<std::int32_t, 8>(), apart));
#else
  const auto left = hn::LowerHalf(hn::FixedTag<std::uint16_t, 4>(), apart);
  const auto right = hn::UpperHalf(hn::FixedTag<std::uint16_t, 4>(), apart);
  return {hn::ConvertTo(Four(), hn::PromoteTo(FourInts(), left)),
          hn::ConvertTo(Four(), hn::PromoteTo(FourInts(), right))};
#endif
}
// The same of a row.
HWY_INLINE F16 spread(W8 left, W8 right) {
#if HWY_MAX_BYTES >= 64
  const hn::FixedTag<std::uint16_t, 16> words;
  const hn::FixedTag<std::uint8_t, 32> bytes;
  const auto apart = hn::TableLookupBytesOr0(hn::BitCast(bytes, hn::Combine(words, right, left)),
                                             hn::LoadDup128(bytes, kTwoTaps.data()));
  return hn::ConvertTo(Sixteen(),
                       hn::PromoteTo(hn::FixedTag<std::int32_t, 16>(), hn::BitCast(words, apart)));
#else
  return {spread(left), spread(right)};
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

// All colours from the same pixels. `kRgb`: three colours of 16 bits.
template <class T, bool kRgb>
struct Together {
  const T* corner;
  std::ptrdiff_t pixel;
  std::ptrdiff_t pitch;

  HWY_INLINE F8 operator()(std::ptrdiff_t row, std::ptrdiff_t column) const {
    if constexpr (kRgb) return spread(words(row, column));
    const T* at = corner + row * pitch + column * pixel;
    return pair_of(one_tap(at), one_tap(at + pixel));
  }
  HWY_INLINE F16 four(std::ptrdiff_t row) const {
    if constexpr (kRgb) return spread(words(row, 0), words(row, 2));
    return row_of((*this)(row, 0), (*this)(row, 2));
  }

 private:
  HWY_INLINE W8 words(std::ptrdiff_t row, std::ptrdiff_t column) const {
    return hn::LoadU(EightWords(), corner + row * pitch + column * 3);
  }
};

// Each colour from its own pixels.
template <class T, bool kRgb>
struct Apart {
  std::array<const T*, 3> corner;
  std::ptrdiff_t pixel;
  std::ptrdiff_t pitch;

  HWY_INLINE F8 operator()(std::ptrdiff_t row, std::ptrdiff_t column) const {
    if constexpr (kRgb) return spread(words(row * pitch + column * 3));
    const std::ptrdiff_t at = row * pitch + column * pixel;
    return pair_of(mixed_tap(at), mixed_tap(at + pixel));
  }
  HWY_INLINE F16 four(std::ptrdiff_t row) const {
    if constexpr (kRgb) return spread(words(row * pitch), words(row * pitch + 6));
    return row_of((*this)(row, 0), (*this)(row, 2));
  }

 private:
  HWY_INLINE W8 words(std::ptrdiff_t at) const {
    const EightWords d;
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
  const std::int32_t* column;  // of each colour
  const std::int32_t* row;
  int width, height, channels;

  HWY_INLINE F8 operator()(std::ptrdiff_t down, std::ptrdiff_t right) const {
    return pair_of(tap(down, right), tap(down, right + 1));
  }
  HWY_INLINE F16 four(std::ptrdiff_t down) const {
    return row_of((*this)(down, 0), (*this)(down, 2));
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

// Weights of the four cubic taps (base/catmull_rom.h) at distance t past the second one,
// ((a t + b) t + c) t + d: lanes are colours, four of each tap.
HWY_INLINE F16 cubic_weights(const float* t) {
  const auto of_taps = [](float first, float second, float third, float fourth) {
    const Four d;
    return row_of(pair_of(hn::Set(d, first), hn::Set(d, second)),
                  pair_of(hn::Set(d, third), hn::Set(d, fourth)));
  };
  const F16 at = four_times(t);
  F16 sum = add(multiply(of_taps(-0.5F, 1.5F, -1.5F, 0.5F), at), of_taps(1, -2.5F, 2, -0.5F));
  sum = add(multiply(sum, at), of_taps(-0.5F, 0, 0.5F, 0));
  return add(multiply(sum, at), of_taps(0, 1, 0, 0));
}

class CubicTaps {
 public:
  // Distances of each colour, `room` for kRoom floats, all aligned.
  HWY_INLINE CubicTaps(const float* right, const float* below, float* room)
      : across_(cubic_weights(right)), down_(room) {
    store_row(cubic_weights(below), room);
  }
  [[nodiscard]] HWY_INLINE F16 across() const { return across_; }
  [[nodiscard]] HWY_INLINE F16 row(int j) const { return four_times(down_ + 4 * j); }

  static constexpr std::size_t kRoom = 16;

 private:
  F16 across_;
  const float* down_;
};

// The same of any kernel, from its table.
class TableTaps {
 public:
  HWY_INLINE TableTaps(const KernelWeights& kernel, bool apart, const float* right,
                       const float* below, float* room)
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
  static HWY_INLINE void look_up(const KernelWeights& kernel, const float* fraction, bool apart,
                                 float* weights) {
    std::array<float, KernelWeights::kMaxTaps> of_one;
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

// The same of four taps: down the columns first, so that a row is one vector where there are such.
template <class Window>
HWY_INLINE F4 weigh(const CubicTaps& taps, const Window& window) {
  F16 low = window.four(0);
  F16 high = low;
  F16 sum = multiply(taps.row(0), low);
  for (int j = 1; j < 4; ++j) {
    const F16 value = window.four(j);
    sum = add(sum, multiply(taps.row(j), value));
    low = lesser(low, value);
    high = greater(high, value);
  }
  sum = multiply(sum, taps.across());
  const F8 half = add(left_of(sum), right_of(sum));
  const F8 least = lesser(left_of(low), right_of(low));
  const F8 most = greater(left_of(high), right_of(high));
  const F4 all = hn::Add(left_of(half), right_of(half));
  return hn::Min(hn::Max(all, hn::Min(left_of(least), right_of(least))),
                 hn::Max(left_of(most), right_of(most)));
}

// Where some positions are read: four numbers each, of red, green, blue and green.
struct Places {
  static constexpr std::size_t kMost = 64;
  static constexpr std::size_t kRoom = 4 * (kMost + kRunSlack);

  alignas(64) std::array<float, kRoom> right;  // past the last tap before the position
  alignas(64) std::array<float, kRoom> below;
  alignas(64) std::array<std::int32_t, kRoom> column;  // of the first tap
  alignas(64) std::array<std::int32_t, kRoom> row;
  alignas(64) std::array<std::int32_t, kRoom> sample;  // of the first tap, counted from the first
  alignas(64) std::array<std::int32_t, kMost + kRunSlack> kind;  // one a position
};
enum Kind : std::int32_t { kTogether, kApart, kBeyond };

// Finds them, many positions at a time.
class Locator {
 public:
  Locator(const PictureSampler::Raster& raster, const KernelWeights& kernel, const LensPixels& lens,
          const SourceRun& run)
      : lens_(lens),
        run_(run),
        channels_(raster.channels),
        pitch_(raster.width * raster.channels),
        first_column_(run.anchor_x - kernel.taps() / 2 + 1),
        first_row_(run.anchor_y - kernel.taps() / 2 + 1) {
    // More is loaded than six samples for two taps: places from two pixels before the border on
    // count as outside. So do all of a raster whose samples 32 bits cannot count.
    const std::int64_t samples =
        static_cast<std::int64_t>(raster.width) * raster.height * raster.channels;
    const bool plain = raster.channels >= 3 && samples < std::numeric_limits<std::int32_t>::max();
    most_column_ = plain ? raster.width - kernel.taps() - kTouched / 3 : -1;
    most_row_ = plain ? raster.height - kernel.taps() : -1;
  }

  // From the position `from` on, as many as there is room for.
  HWY_INLINE void locate(std::size_t from, Places& places) const {
    const std::size_t end = std::min(Places::kMost, run_.count - from);
    for (std::size_t i = 0; i < end; i += hn::Lanes(Many())) {
      const Colour green = placed(from + i, nullptr);
      Colour red = green;
      Colour blue = green;
      if (lens_.fringes) {
        red = placed(from + i, &lens_.fringe[0][0]);
        blue = placed(from + i, &lens_.fringe[0][2]);
      }
      store(red, green, blue, i, places);
    }
  }

 private:
  using IN = hn::Vec<ManyInts>;
  struct Colour {
    FN right, below;
    IN column, row, sample;
  };

  // `fringe` is the first of a colour's three terms in the table of LensPixels; none for green.
  HWY_INLINE Colour placed(std::size_t i, const float* fringe) const {
    const Many d;
    const ManyInts ints;
    const FN from_x = hn::LoadU(d, run_.x.data() + i);
    const FN from_y = hn::LoadU(d, run_.y.data() + i);
    const FN half = hn::Set(d, 0.5F);
    FN x = hn::Sub(from_x, half);
    FN y = hn::Sub(from_y, half);
    if (fringe != nullptr) {
      constexpr std::size_t kNext = 4;  // a row of the table
      const FN cx = hn::Add(from_x, hn::Set(d, static_cast<float>(run_.anchor_x) - lens_.centre_x));
      const FN cy = hn::Add(from_y, hn::Set(d, static_cast<float>(run_.anchor_y) - lens_.centre_y));
      const FN q =
          hn::Mul(hn::Add(hn::Mul(cx, cx), hn::Mul(cy, cy)), hn::Set(d, lens_.inverse_rim_square));
      FN off = hn::Add(hn::Set(d, fringe[kNext]), hn::Mul(q, hn::Set(d, fringe[2 * kNext])));
      off = hn::Add(hn::Set(d, fringe[0]), hn::Mul(q, off));
      x = hn::Add(x, hn::Mul(off, cx));
      y = hn::Add(y, hn::Mul(off, cy));
    }
    const FN whole_x = hn::Floor(x);
    const FN whole_y = hn::Floor(y);
    Colour colour{hn::Sub(x, whole_x), hn::Sub(y, whole_y),
                  hn::Add(hn::ConvertTo(ints, whole_x), hn::Set(ints, first_column_)),
                  hn::Add(hn::ConvertTo(ints, whole_y), hn::Set(ints, first_row_)), hn::Zero(ints)};
    colour.sample = hn::Add(hn::Mul(colour.row, hn::Set(ints, pitch_)),
                            hn::Mul(colour.column, hn::Set(ints, channels_)));
    return colour;
  }

  // Negative where a colour's taps are not all inside.
  HWY_INLINE IN beyond(const Colour& colour) const {
    const ManyInts ints;
    return hn::Or(hn::Or(colour.column, colour.row),
                  hn::Or(hn::Sub(hn::Set(ints, most_column_), colour.column),
                         hn::Sub(hn::Set(ints, most_row_), colour.row)));
  }

  HWY_INLINE void store(const Colour& red, const Colour& green, const Colour& blue, std::size_t i,
                        Places& places) const {
    const Many d;
    const ManyInts ints;
    hn::StoreInterleaved4(red.right, green.right, blue.right, green.right, d,
                          places.right.data() + 4 * i);
    hn::StoreInterleaved4(red.below, green.below, blue.below, green.below, d,
                          places.below.data() + 4 * i);
    hn::StoreInterleaved4(red.column, green.column, blue.column, green.column, ints,
                          places.column.data() + 4 * i);
    hn::StoreInterleaved4(red.row, green.row, blue.row, green.row, ints, places.row.data() + 4 * i);
    hn::StoreInterleaved4(red.sample, green.sample, blue.sample, green.sample, ints,
                          places.sample.data() + 4 * i);
    const auto together =
        hn::And(hn::Eq(red.sample, green.sample), hn::Eq(blue.sample, green.sample));
    const auto outside =
        hn::Lt(hn::Or(beyond(green), hn::Or(beyond(red), beyond(blue))), hn::Zero(ints));
    const IN kind = hn::IfThenElse(together, hn::Set(ints, kTogether), hn::Set(ints, kApart));
    hn::Store(hn::IfThenElse(outside, hn::Set(ints, kBeyond), kind), ints, places.kind.data() + i);
  }

  const LensPixels& lens_;
  const SourceRun& run_;
  std::int32_t channels_;
  std::int32_t pitch_;
  std::int32_t first_column_;
  std::int32_t first_row_;
  std::int32_t most_column_;
  std::int32_t most_row_;
};

// Weighs what lies at a place.
template <class T, bool kRgb, class Taps>
HWY_INLINE F4 read(const PictureSampler::Raster& raster, const Taps& taps, const Places& places,
                   std::size_t i) {
  const T* samples = reinterpret_cast<const T*>(raster.samples);
  const std::ptrdiff_t pitch = static_cast<std::ptrdiff_t>(raster.width) * raster.channels;
  const std::int32_t* at = places.sample.data() + 4 * i;
  switch (places.kind[i]) {
    case kTogether:
      return weigh(taps, Together<T, kRgb>{samples + at[0], raster.channels, pitch});
    case kApart:
      return weigh(
          taps, Apart<T, kRgb>{
                    {samples + at[0], samples + at[1], samples + at[2]}, raster.channels, pitch});
    default:
      return weigh(taps, Held<T>{samples, places.column.data() + 4 * i, places.row.data() + 4 * i,
                                 raster.width, raster.height, raster.channels});
  }
}

// First where, then what: places are found many at a time, and reading waits for none of them.
template <class T, bool kCubic, bool kRgb>
void sample_positions(const PictureSampler::Raster& raster, const KernelWeights& kernel,
                      const LensPixels& lens, const SourceRun& run, float* codes) {
  const Locator locator(raster, kernel, lens, run);
  Places places;
  alignas(64) std::array<float, kCubic ? CubicTaps::kRoom : TableTaps::kRoom> room;
  for (std::size_t from = 0; from < run.count; from += Places::kMost) {
    locator.locate(from, places);
    const std::size_t end = std::min(Places::kMost, run.count - from);
    for (std::size_t i = 0; i < end; ++i) {
      const float* right = places.right.data() + 4 * i;
      const float* below = places.below.data() + 4 * i;
      float* out = codes + 4 * (from + i);
      if constexpr (kCubic) {
        const CubicTaps taps(right, below, room.data());
        hn::StoreU(read<T, kRgb>(raster, taps, places, i), Four(), out);
      } else {
        const TableTaps taps(kernel, lens.fringes, right, below, room.data());
        hn::StoreU(read<T, kRgb>(raster, taps, places, i), Four(), out);
      }
    }
  }
}

template <class T, bool kRgb>
void sample_as(const PictureSampler::Raster& raster, const KernelWeights& kernel,
               const LensPixels& lens, const SourceRun& run, float* codes) {
  if (kernel.is_catmull_rom()) {
    return sample_positions<T, true, kRgb>(raster, kernel, lens, run, codes);
  }
  sample_positions<T, false, kRgb>(raster, kernel, lens, run, codes);
}

void sample(const PictureSampler::Raster& raster, const KernelWeights& kernel,
            const LensPixels& lens, const SourceRun& run, float* codes) {
  switch (raster.type) {
    case SampleType::u8:
      return sample_as<std::uint8_t, false>(raster, kernel, lens, run, codes);
    case SampleType::u16:
      if (raster.channels == 3) {
        return sample_as<std::uint16_t, true>(raster, kernel, lens, run, codes);
      }
      return sample_as<std::uint16_t, false>(raster, kernel, lens, run, codes);
    case SampleType::f32:
      return sample_as<float, false>(raster, kernel, lens, run, codes);
  }
}

// --- light and codes
// ------------------------------------------------------------------------------

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
